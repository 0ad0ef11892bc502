// After a stop: is the current reading itself the thing that failed? Only then may speed and bus voltage speak for it.
import { show, type Channel, type Row } from './row';

/** A reading older than this many of its periods is no reading. */
export const OLD = 5;
/** So many samples that stand still to the count, over this long, are no measurement of a current that the stop must have changed. */
const STUCK = { samples: 5, for_us: 200_000 };

/** Where the bus must stand for a current that nobody measures to be no short circuit. */
export interface BusCheck {
  readonly channel: Channel;
  /** The bus counts as fed and not dragged down from this voltage on, V. */
  readonly least_V: number;
}

/**
 * Watches the current channel from a stop on. It is in doubt when no sample comes at all, or when its reading has not moved by
 * one count since the stop began. It is never in doubt when it lies at or above the peak limit or is impossible: that is how a
 * short circuit looks too, and nothing may talk it away.
 */
export class CurrentDoubt {
  private began_us = 0;
  private first_A = NaN;
  private moved = false;
  private samples = 0;
  private impossible = false;

  constructor(private readonly of: Channel, private readonly peak_A: number) {}

  begin(tick_us: number): void {
    this.began_us = tick_us;
    this.first_A = NaN;
    this.moved = this.impossible = false;
    this.samples = 0;
  }

  /** Takes a row in. */
  step(row: Row): void {
    const { id } = this.of;
    const bit = 1 << id;
    if (Number.isNaN(this.first_A)) this.first_A = row.si[id];
    if ((row.fresh & bit) === 0) return;
    this.samples++;
    if ((row.good & bit) === 0) this.impossible = true;
    else if (row.si[id] !== this.first_A) this.moved = true;
  }

  /** Why the reading cannot be believed, in words; null when it has to be. */
  why(row: Row): string | null {
    const { id, period_us } = this.of;
    if (this.impossible || this.moved || !(row.si[id] < this.peak_A)) return null;
    if (row.fresh_us[id] >= 0 && row.tick_us - row.fresh_us[id] > OLD * period_us) return 'no current sample comes any more';
    if (this.samples >= STUCK.samples && row.tick_us - this.began_us >= STUCK.for_us) return `the current reading has stood at ${show(row.si[id])} A to the count since the stop`;
    return null;
  }
}

/** The bus is measured now, and is not dragged down. */
export function busStands(row: Row, bus: BusCheck | null): boolean {
  if (bus === null) return false;
  const { id, period_us } = bus.channel;
  return row.at_us[id] >= 0 && row.tick_us - row.at_us[id] <= OLD * period_us && row.si[id] >= bus.least_V;
}
