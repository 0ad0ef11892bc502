// Is the rotor turning while it is powered? Stall, lost synchronism, and how often it was lost and found again.
import type { ClosestApproach } from '../../model/trip';
import { show, showTime, type Channel, type Row } from '../row';
import type { Finding, Rule } from '../rule';

/** Shorter gaps in the speed reading are telemetry that dropped out, not a desync. */
export const DESYNC_MIN_US = 5_000;

/** A desync that ended well. */
export interface Desync {
  readonly tick_us: number;
  readonly duration_us: number;
  readonly ordinal: number;
}

/**
 * Follows rotation through the speed channel; stepped every row before the rules that read it. Below `idle` throttle a
 * motor may stand still without fault, so nothing is lost there.
 */
export class RotationWatch {
  /** Device time since which the motor is powered, and since which no rotation was seen; -1 when not powered. */
  powered_us = -1;
  without_us = -1;
  /** Rotation was seen since the throttle last left idle. */
  seen = false;
  /** Desyncs of this run, and the one that ended in this row. */
  count = 0;
  ended: Desync | null = null;
  /** Time without rotation that is no longer a counted desync but a sustained one. */
  private readonly sustained_us: number;
  private readonly bit: number;

  constructor(
    private readonly speed: Channel,
    private readonly idle: number,
    /** Slower than this is no rotation: speed telemetry vanishes near zero, and what is left of it is noise. */
    private readonly still_rpm: number,
    sustained_s: number,
  ) {
    this.sustained_us = sustained_s * 1e6;
    this.bit = 1 << speed.id;
  }

  step(row: Row): void {
    this.ended = null;
    if (!row.powered) {
      this.powered_us = -1;
      this.without_us = -1;
      this.seen = false;
      return;
    }
    if (this.powered_us < 0) {
      this.powered_us = row.tick_us;
      this.without_us = row.tick_us;
    }
    if (row.throttle < this.idle) this.seen = false;
    if ((row.good & this.bit) === 0 || row.si[this.speed.id] <= this.still_rpm) return;
    const lost_us = row.tick_us - this.without_us;
    if (this.seen && lost_us >= DESYNC_MIN_US + this.speed.period_us && lost_us < this.sustained_us) {
      this.count++;
      this.ended = { tick_us: row.tick_us, duration_us: lost_us, ordinal: row.ordinal };
    }
    this.without_us = row.tick_us;
    this.seen = row.throttle >= this.idle;
  }

  /** Time without rotation at this row, µs; 0 when not powered. */
  lost_us(row: Row): number {
    return this.without_us < 0 ? 0 : row.tick_us - this.without_us;
  }

  begin(): void {
    this.count = 0;
    this.seen = false;
    this.ended = null;
  }
}

/** Current without rotation: a blocked motor takes full current and stands still. */
export class StallRule implements Rule {
  readonly code = 'STALL';
  broken = false;
  readonly longest_us: number;

  constructor(
    private readonly watch: RotationWatch,
    private readonly current: Channel,
    private readonly limit: { readonly current_A: number; readonly for_s: number },
  ) {
    this.longest_us = limit.for_s * 1e6;
  }

  step(row: Row): boolean {
    return (this.broken = this.watch.lost_us(row) >= this.longest_us && row.si[this.current.id] > this.limit.current_A);
  }

  finding(row: Row): Finding {
    const value = row.si[this.current.id];
    return {
      code: this.code, value, limit: this.limit.current_A, unit: 'A', channel: this.current.column,
      detail: `${show(value)} A and no rotation for ${showTime(this.watch.lost_us(row))} at ${show(100 * row.throttle)} % throttle (limit ${show(this.limit.current_A)} A for ${showTime(this.longest_us)}). Check that the rotor turns freely.`,
    };
  }

  begin(): void {
    this.broken = false;
  }

  closest(): ClosestApproach | null {
    return null;
  }
}

/** Rotation was there and did not come back within the allowed time. */
export class DesyncSustainedRule implements Rule {
  readonly code = 'DESYNC_SUSTAINED';
  broken = false;
  readonly longest_us: number;

  constructor(
    private readonly watch: RotationWatch,
    private readonly speed: Channel,
    sustained_s: number,
  ) {
    this.longest_us = sustained_s * 1e6;
  }

  step(row: Row): boolean {
    return (this.broken = this.watch.seen && this.watch.lost_us(row) >= this.longest_us);
  }

  finding(row: Row): Finding {
    const lost_us = this.watch.lost_us(row);
    return {
      code: this.code, value: lost_us / 1000, limit: this.longest_us / 1000, unit: 'ms', channel: this.speed.column,
      detail: `Rotation was lost and did not come back for ${showTime(lost_us)} at ${show(100 * row.throttle)} % throttle.`,
    };
  }

  begin(): void {
    this.broken = false;
  }

  closest(): ClosestApproach | null {
    return null;
  }
}

/** More desyncs in one run than allowed, each of which ended well. */
export class DesyncCountRule implements Rule {
  readonly code = 'DESYNC_COUNT';
  broken = false;
  private latest_us = -1;

  constructor(
    private readonly watch: RotationWatch,
    private readonly speed: Channel,
    private readonly most: number,
  ) {}

  step(row: Row): boolean {
    if (this.watch.ended !== null || (row.driving && this.latest_us < 0)) this.latest_us = row.tick_us;
    return (this.broken = this.watch.count > this.most);
  }

  finding(): Finding {
    return {
      code: this.code, value: this.watch.count, limit: this.most, unit: 'desyncs', channel: this.speed.column,
      detail: `${this.watch.count} desyncs in this run, more than ${this.most}.`,
    };
  }

  begin(): void {
    this.broken = false;
    this.latest_us = -1;
  }

  closest(): ClosestApproach | null {
    if (this.latest_us < 0) return null;
    const bound = this.most + 1;
    return { limit: 'desync count', value: this.watch.count, bound, unit: 'desyncs', ratio: this.watch.count / bound, tick_us: this.latest_us };
  }
}
