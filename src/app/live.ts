// The latest readings, for a live line. Looks at the last row of a block only.
import { toSI, type ChannelFact } from '../model/channel';
import { THROTTLE_FULL, type SampleBlock } from '../model/sample';
import type { LiveReading } from './reporter';

/** SI readings of the last row of a block; null for a channel that has not spoken or is impossible. */
export function liveReading(block: SampleBlock, channels: readonly ChannelFact[]): LiveReading {
  const row = block.rows - 1;
  const valid = block.valid[row];
  return {
    t_s: block.tick_us[row] / 1e6,
    throttle: block.throttle[row] / THROTTLE_FULL,
    values: Object.fromEntries(channels.map((c) => [c.kind, (valid & (1 << c.id)) === 0 ? null : toSI(c.conversion, block.counts[c.id][row])])),
  };
}
