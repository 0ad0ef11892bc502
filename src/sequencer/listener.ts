// Listens to a segment that the protocol asks about, and gives means of its last part.
import { type ChannelFact, type ChannelKind, toSI } from '../model/channel';
import type { SampleBlock } from '../model/sample';
import { ASK_MAX_S } from '../model/segment';

/** Fresh, valid samples of one channel, oldest first. */
interface Track {
  readonly fact: ChannelFact;
  readonly tick_us: number[];
  readonly si: number[];
}

/**
 * The last part of a segment, as fresh valid samples in SI. It ends `lead_s` before the segment does (at most half of it), so
 * that what the protocol yields after the answer reaches the board before its queue is empty.
 */
export class Listener {
  private readonly from_us: number;
  private readonly until_us: number;
  private readonly tracks: readonly Track[];
  private over = false;

  /** @param started_us device time at which the segment started */
  constructor(readonly ordinal: number, private readonly started_us: number, duration_s: number, channels: readonly ChannelFact[], lead_s: number) {
    this.until_us = started_us + (duration_s - Math.min(lead_s, duration_s / 2)) * 1e6;
    this.from_us = Math.max(started_us, this.until_us - ASK_MAX_S * 1e6);
    this.tracks = channels.map((fact) => ({ fact, tick_us: [], si: [] }));
  }

  /** The part listened to has passed. */
  get done(): boolean {
    return this.over;
  }

  take(block: SampleBlock): void {
    for (let row = 0; row < block.rows && !this.over; row++) {
      const tick = block.tick_us[row] ?? 0;
      if (tick > this.until_us) this.over = true;
      else if (tick > this.from_us) this.keep(block, row, tick);
    }
  }

  /** Mean over the last `over_s` of what was listened to, in the channel's SI unit; undefined without a single good sample. */
  mean(channel: ChannelKind, over_s: number): number | undefined {
    const track = this.tracks.find((t) => t.fact.kind === channel);
    if (track === undefined) return undefined;
    const since = Math.max(this.started_us, this.until_us - over_s * 1e6);
    let sum = 0;
    let n = 0;
    for (let i = track.si.length - 1; i >= 0 && (track.tick_us[i] ?? 0) > since; i--) {
      sum += track.si[i] ?? 0;
      n++;
    }
    return n > 0 ? sum / n : undefined;
  }

  private keep(block: SampleBlock, row: number, tick: number): void {
    const good = (block.fresh[row] ?? 0) & (block.valid[row] ?? 0);
    for (const { fact, tick_us, si } of this.tracks) {
      if ((good & (1 << fact.id)) === 0) continue;
      tick_us.push(tick);
      si.push(toSI(fact.conversion, block.counts[fact.id]?.[row] ?? 0));
    }
  }
}
