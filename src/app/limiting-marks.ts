// Marks in a record where the supply held its current limit instead of its voltage: what was measured there was measured at
// another voltage. Short episodes do not trip; they are marked all the same.
import type { ChannelFact } from '../model/channel';
import { SITable } from '../model/channel';
import type { BenchEvent } from '../model/events';
import type { SampleBlock } from '../model/sample';
import { showsLimiting } from '../model/supply-limiting';
import type { SupplySetting } from './run-watch';

export const LIMITING_BEGINS = 'supply at its current limit';
export const LIMITING_ENDS = 'supply holds its voltage';
/** An episode is over when it was not seen for so long: ripple must not make a hundred of one. */
const QUIET_US = 50_000;

export class LimitingMarks {
  private readonly current: ChannelFact | undefined;
  private readonly voltage: ChannelFact | undefined;
  private readonly table: SITable;
  private lastSeen_us: number | null = null;

  /** @param supply null when nobody knows its limit: then nothing is marked */
  constructor(channels: readonly ChannelFact[], private readonly supply: SupplySetting | null) {
    this.current = channels.find((c) => c.kind === 'current');
    this.voltage = channels.find((c) => c.kind === 'voltage');
    this.table = new SITable(channels.map((c) => c.conversion));
  }

  /** Marks that follow from the next block, in order. The end is marked at the last row that showed it. */
  take(block: SampleBlock): BenchEvent[] {
    const { current, voltage, supply, table } = this;
    if (supply === null || current === undefined || voltage === undefined) return [];
    const bits = (1 << current.id) | (1 << voltage.id);
    const marks: BenchEvent[] = [];
    const { rows, tick_us, fresh, valid } = block;
    const [amps, volts] = [block.counts[current.id], block.counts[voltage.id]];
    for (let i = 0; i < rows; i++) {
      const t = tick_us[i];
      if (this.lastSeen_us !== null && t - this.lastSeen_us > QUIET_US) {
        marks.push({ type: 'mark', tick_us: this.lastSeen_us, label: LIMITING_ENDS });
        this.lastSeen_us = null;
      }
      if ((fresh[i] & valid[i] & bits) !== bits) continue;
      if (!showsLimiting(table.at(current.id, amps[i]), table.at(voltage.id, volts[i]), supply.current_limit_A, supply.voltage_V)) continue;
      if (this.lastSeen_us === null) marks.push({ type: 'mark', tick_us: t, label: LIMITING_BEGINS });
      this.lastSeen_us = t;
    }
    return marks;
  }
}
