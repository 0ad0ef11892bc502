// A wait-until: the board plays a bounded level, the station ends it when the condition has held long enough.
import type { ChannelFact } from '../model/channel';
import type { Condition } from '../model/segment';
import type { Row } from '../safety/row';

export class UntilWatch {
  private condition: Condition | null = null;
  private channel = -1;
  private ordinal = 0;
  private since_us = -1;

  constructor(private readonly facts: readonly ChannelFact[]) {}

  /** Watches for the condition of this segment; null: the segment has none. */
  begin(ordinal: number, condition: Condition | null): void {
    this.condition = condition;
    this.ordinal = ordinal;
    this.since_us = -1;
    this.channel = condition === null ? -1 : (this.facts.find((f) => f.kind === condition.channel)?.id ?? -1);
  }

  /** Takes a row in. Returns the ordinal of the segment to end, once, when the condition has held for its time; else 0. */
  step(row: Row): number {
    const { condition, channel } = this;
    if (condition === null || channel < 0 || row.ordinal !== this.ordinal) return 0;
    if ((row.good & (1 << channel)) !== 0) {
      const holds = condition.is === 'above' ? row.si[channel] > condition.value : row.si[channel] < condition.value;
      if (!holds) this.since_us = -1;
      else if (this.since_us < 0) this.since_us = row.tick_us;
    } else if ((row.fresh & (1 << channel)) !== 0) this.since_us = -1;
    if (this.since_us < 0 || row.tick_us - this.since_us < condition.for_s * 1e6) return 0;
    this.condition = null;
    return this.ordinal;
  }
}
