// Things that take too long: rows that do not come, a segment, the protocol, the run.
import type { ClosestApproach, TripCode } from '../../model/trip';
import { showTime, type Row } from '../row';
import type { Finding, Rule } from '../rule';

/** No row for longer than this of device time while the board is armed: the link loses them, or the board does. */
export class SilenceRule implements Rule {
  readonly code = 'LINK_LOST';
  broken = false;
  private gap_us = 0;

  constructor(private readonly longest_us: number) {}

  step(row: Row): boolean {
    this.gap_us = row.tick_us - row.before_us;
    if (this.gap_us <= this.longest_us && !this.broken) return false;
    return (this.broken = row.armed && row.wasArmed && this.gap_us > this.longest_us);
  }

  finding(): Finding {
    return {
      code: this.code, value: this.gap_us / 1000, limit: this.longest_us / 1000, unit: 'ms', channel: null,
      detail: `No row from the board for ${showTime(this.gap_us)} of its own time (limit ${showTime(this.longest_us)}). Check cable and port.`,
    };
  }

  begin(): void {
    this.broken = false;
  }

  closest(): ClosestApproach | null {
    return null;
  }
}

/** A segment may overrun its bound by this: a few ticks, and rows that were lost. */
export const SEGMENT_MARGIN_US = 50_000;

/** The segment being played is older than its own bound and a margin: the board does not play what it was told. */
export class SegmentTimeoutRule implements Rule {
  readonly code = 'SEGMENT_TIMEOUT';
  broken = false;
  private ordinal = 0;
  private began_us = 0;
  private longest_us = Infinity;

  /** `bound_us`: longest duration of a segment by its ordinal, undefined when nobody said. */
  constructor(private readonly bounds: ReadonlyMap<number, number>) {}

  step(row: Row): boolean {
    if (!row.driving || row.ordinal !== this.ordinal) {
      this.ordinal = row.driving ? row.ordinal : 0;
      this.began_us = row.tick_us;
      this.longest_us = (this.bounds.get(this.ordinal) ?? Infinity) + SEGMENT_MARGIN_US;
    }
    return (this.broken = row.tick_us - this.began_us > this.longest_us);
  }

  /** Up to this device time the rule cannot be broken while the same segment plays (or none). */
  get due_us(): number {
    return this.ordinal === 0 ? Infinity : this.began_us + this.longest_us;
  }

  finding(row: Row): Finding {
    const played = row.tick_us - this.began_us;
    const bound = this.longest_us - SEGMENT_MARGIN_US;
    return {
      code: this.code, value: played / 1e6, limit: bound / 1e6, unit: 's', channel: null,
      detail: `Segment ${this.ordinal} plays for ${showTime(played)}; it was to end after ${showTime(bound)}.`,
    };
  }

  begin(): void {
    this.ordinal = 0;
    this.broken = false;
  }

  closest(): ClosestApproach | null {
    return null;
  }
}

/** Driving for longer than a bound: that of the protocol, or the longest run that the rig allows. */
export class RunTimeRule implements Rule {
  broken = false;
  /** Longest, µs. */
  bound_us: number;
  /** Device time of the latest row that drove, -1 before the first of a run. */
  last_us = -1;
  private driving = false;
  private began_us = 0;

  constructor(
    readonly code: Extract<TripCode, 'PROTOCOL_TIMEOUT' | 'LONGEST_RUN'>,
    bound_s: number,
  ) {
    this.bound_us = bound_s * 1e6;
  }

  step(row: Row): boolean {
    if (!row.driving) {
      this.driving = false;
      return (this.broken = false);
    }
    if (!this.driving) {
      this.driving = true;
      this.began_us = row.tick_us;
    }
    this.last_us = row.tick_us;
    return (this.broken = row.tick_us - this.began_us > this.bound_us);
  }

  /** Up to this device time the rule cannot be broken while driving goes on (or rest). */
  get due_us(): number {
    return this.driving ? this.began_us + this.bound_us : Infinity;
  }

  finding(row: Row): Finding {
    const played = row.tick_us - this.began_us;
    const what = this.code === 'LONGEST_RUN' ? 'the longest run that the rig allows is' : 'the protocol was to take at most';
    return {
      code: this.code, value: played / 1e6, limit: this.bound_us / 1e6, unit: 's', channel: null,
      detail: `Driving for ${showTime(played)}; ${what} ${showTime(this.bound_us)}.`,
    };
  }

  begin(): void {
    this.driving = false;
    this.last_us = -1;
    this.broken = false;
  }

  closest(): ClosestApproach | null {
    if (this.last_us < 0 || this.bound_us === Infinity) return null;
    const played_us = this.last_us - this.began_us;
    const limit = this.code === 'LONGEST_RUN' ? 'longest_run' : 'protocol bound';
    return { limit, value: played_us / 1e6, bound: this.bound_us / 1e6, unit: 's', ratio: played_us / this.bound_us, tick_us: this.last_us };
  }
}
