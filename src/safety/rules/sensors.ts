// Sensors that cannot be believed: silent, impossible, stuck. Judged in device ticks and fresh samples, never in arrival time.
import type { ClosestApproach } from '../../model/trip';
import { show, showTime, WORD_OF, type Channel, type Row } from '../row';
import { Window, type Finding, type Rule } from '../rule';

/** A channel without a fresh sample for a number of its own periods. Ages count from the first row at the latest. */
export class StaleRule implements Rule {
  readonly code = 'SENSOR_STALE';
  broken = false;
  private readonly oldest_us: Float64Array;
  /** No channel can be stale up to this device time. */
  private due_us = -Infinity;
  private stale = -1;
  private age_us = 0;

  /** `periods` of a channel, but never less than `least_us`: a few ticks of the controller. */
  constructor(
    private readonly channels: readonly Channel[],
    periods: number,
    least_us: number,
  ) {
    this.oldest_us = Float64Array.from(channels, (c) => Math.max(least_us, periods * c.period_us));
  }

  step(row: Row): boolean {
    // Samples only make the next due time later, so until it nothing can be stale.
    return row.tick_us > this.due_us ? this.look(row) : false;
  }

  private look(row: Row): boolean {
    this.stale = -1;
    this.due_us = Infinity;
    for (const { id } of this.channels) {
      if (row.fresh_us[id] < 0) row.fresh_us[id] = row.tick_us;
      const age_us = row.tick_us - row.fresh_us[id];
      this.due_us = Math.min(this.due_us, row.fresh_us[id] + this.oldest_us[id]);
      if (age_us <= this.oldest_us[id] || this.stale >= 0) continue;
      this.stale = id;
      this.age_us = age_us;
    }
    return (this.broken = this.stale >= 0);
  }

  finding(): Finding {
    const of = this.channels[this.stale];
    return {
      code: this.code, value: this.age_us / 1000, limit: this.oldest_us[this.stale] / 1000, unit: 'ms', channel: of.column,
      detail: `No new ${WORD_OF[of.kind]} sample for ${showTime(this.age_us)}; it should come every ${showTime(of.period_us)}. Check the sensor and its cable.`,
    };
  }

  begin(): void {
    // Ages run on through the start of a run.
  }

  closest(): ClosestApproach | null {
    return null;
  }
}

/** Fresh samples in a window of the last ten of which three must be impossible. */
const IMPOSSIBLE = { window: 10, bad: 3 };

/**
 * Samples that the board marks as impossible, that are no number, or that lie outside what the sensor can show.
 * Not for speed: there "impossible" means "no commutation seen", which is how a standing motor looks.
 */
export class ImpossibleRule implements Rule {
  readonly code = 'SENSOR_IMPOSSIBLE';
  broken = false;
  private readonly windows: readonly Window[];
  private readonly mask: number;
  /** Channels with an impossible sample in their window. */
  private marked = 0;
  private worst = 0;

  constructor(private readonly channels: readonly Channel[]) {
    this.windows = channels.map(() => new Window(IMPOSSIBLE.window));
    this.mask = channels.reduce((mask, c) => (c.kind === 'speed' ? mask : mask | (1 << c.id)), 0);
  }

  step(row: Row): boolean {
    const impossible = row.fresh & ~row.good & this.mask;
    if (impossible === 0 && this.marked === 0) return false;
    this.broken = false;
    for (let c = 0; c < this.windows.length; c++) {
      const bit = 1 << c;
      const window = this.windows[c];
      if ((row.fresh & this.mask & bit) !== 0) window.push((impossible & bit) !== 0);
      this.marked = window.hits > 0 ? this.marked | bit : this.marked & ~bit;
      if (window.hits < IMPOSSIBLE.bad || this.broken) continue;
      this.broken = true;
      this.worst = c;
    }
    return this.broken;
  }

  finding(): Finding {
    const of = this.channels[this.worst];
    const { hits } = this.windows[this.worst];
    return {
      code: this.code, value: hits, limit: IMPOSSIBLE.bad, unit: 'samples', channel: of.column,
      detail: `${hits} of the last ${IMPOSSIBLE.window} ${WORD_OF[of.kind]} samples are impossible. Check the sensor and its cable.`,
    };
  }

  begin(): void {
    // The windows run on through the start of a run.
  }

  closest(): ClosestApproach | null {
    return null;
  }
}

/** Fewer samples than this prove nothing. */
const FROZEN_SAMPLES = 5;

/**
 * A reading that has not changed by a single count while the motor is powered: noise alone would move it.
 * `moved`: a channel that can honestly stand still counts only when the throttle moved this much (fraction)
 * meanwhile, and only from then on: a speed that stood for a second at a steady throttle has not frozen when a step begins.
 */
export class FrozenRule implements Rule {
  readonly code = 'SENSOR_FROZEN';
  readonly bit: number;
  private readonly id: number;
  broken = false;
  private since_us = -1;
  private value = 0;
  private samples = 0;
  private low = 0;
  private high = 0;
  /** Since when the throttle has moved enough, -1 while it has not. A reading that must never stand should change since it stands. */
  private moved_us = -1;
  private age_us = 0;

  constructor(
    private readonly of: Channel,
    private readonly longest_us: number,
    private readonly moved: number,
  ) {
    this.id = of.id;
    this.bit = 1 << of.id;
  }

  step(row: Row): boolean {
    const value = row.si[this.id];
    if (value !== this.value || this.since_us < 0 || !row.powered) {
      this.value = value;
      this.since_us = row.powered ? row.tick_us : -1;
      this.samples = 0;
      if (this.moved > 0) this.watchThrottle(row);
      return (this.broken = false);
    }
    return this.stands(row);
  }

  private watchThrottle(row: Row): void {
    this.low = this.high = row.throttle;
    this.moved_us = -1;
  }

  /** One more sample with the same value. */
  private stands(row: Row): boolean {
    this.samples++;
    this.low = Math.min(this.low, row.throttle);
    this.high = Math.max(this.high, row.throttle);
    if (this.moved_us < 0 && this.high - this.low >= this.moved) this.moved_us = row.tick_us;
    const due_us = this.moved > 0 ? this.moved_us : this.since_us;
    this.age_us = row.tick_us - due_us;
    return (this.broken = due_us >= 0 && this.age_us >= this.longest_us && this.samples >= FROZEN_SAMPLES);
  }

  finding(): Finding {
    const { unit, column, kind } = this.of;
    return {
      code: this.code, value: this.age_us / 1000, limit: this.longest_us / 1000, unit: 'ms', channel: column,
      detail: `The ${WORD_OF[kind]} reading stands at ${show(this.value)} ${unit} for ${showTime(this.age_us)} while the motor is powered. Check the sensor.`,
    };
  }

  begin(): void {
    this.since_us = -1;
    this.broken = false;
  }

  closest(): ClosestApproach | null {
    return null;
  }
}
