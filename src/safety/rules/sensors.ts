// Sensors that cannot be believed: silent, impossible, stuck. Judged in device ticks and fresh samples, never in arrival time.
import type { ClosestApproach } from '../../model/trip';
import { show, showTime, WORD_OF, type Channel, type Row } from '../row';
import { Window, type Finding, type Rule } from '../rule';

/** A channel without a fresh sample for a number of its own periods. Ages count from the first row at the latest. */
export class StaleRule implements Rule {
  readonly channel = null;
  broken = false;
  private readonly last_us: Float64Array;
  private readonly oldest_us: Float64Array;
  private readonly mask: number;
  private stale = -1;
  private age_us = 0;

  constructor(
    private readonly channels: readonly Channel[],
    periods: number,
  ) {
    this.oldest_us = Float64Array.from(channels, (c) => periods * c.period_us);
    this.last_us = new Float64Array(channels.length).fill(-1);
    this.mask = channels.reduce((mask, c) => mask | (1 << c.id), 0);
  }

  step(row: Row): boolean {
    this.stale = -1;
    // Nothing old in most rows: only channels without a fresh sample need a look.
    for (let i = 0; i < this.last_us.length; i++) {
      if ((row.fresh & this.mask & (1 << this.channels[i].id)) !== 0 || this.last_us[i] < 0) this.last_us[i] = row.tick_us;
      else if (row.tick_us - this.last_us[i] > this.oldest_us[i] && this.stale < 0) {
        this.stale = i;
        this.age_us = row.tick_us - this.last_us[i];
      }
    }
    return (this.broken = this.stale >= 0);
  }

  finding(): Finding {
    const of = this.channels[this.stale];
    return {
      code: 'SENSOR_STALE', value: this.age_us / 1000, limit: this.oldest_us[this.stale] / 1000, unit: 'ms', channel: of.column,
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
  readonly channel = null;
  broken = false;
  private readonly window = new Window(IMPOSSIBLE.window);

  constructor(private readonly of: Channel) {}

  step(row: Row): boolean {
    const bit = 1 << this.of.id;
    if ((row.fresh & bit) !== 0) this.window.push((row.good & bit) === 0);
    return (this.broken = this.window.hits >= IMPOSSIBLE.bad);
  }

  finding(): Finding {
    return {
      code: 'SENSOR_IMPOSSIBLE', value: this.window.hits, limit: IMPOSSIBLE.bad, unit: 'samples', channel: this.of.column,
      detail: `${this.window.hits} of the last ${IMPOSSIBLE.window} ${WORD_OF[this.of.kind]} samples are impossible. Check the sensor and its cable.`,
    };
  }

  begin(): void {
    // The window runs on through the start of a run.
  }

  closest(): ClosestApproach | null {
    return null;
  }
}

/** Fewer samples than this prove nothing. */
const FROZEN_SAMPLES = 5;

/**
 * A reading that has not changed by a single count while the motor is powered: noise alone would move it.
 * `moved`: a channel that can honestly stand still counts only when the throttle moved this much (fraction) meanwhile.
 */
export class FrozenRule implements Rule {
  readonly channel: number;
  broken = false;
  private since_us = -1;
  private value = 0;
  private samples = 0;
  private low = 0;
  private high = 0;
  private age_us = 0;

  constructor(
    private readonly of: Channel,
    private readonly longest_us: number,
    private readonly moved: number,
  ) {
    this.channel = of.id;
  }

  step(row: Row): boolean {
    const value = row.si[this.channel];
    if (!row.powered || this.since_us < 0 || value !== this.value) {
      this.since_us = row.powered ? row.tick_us : -1;
      this.value = value;
      this.samples = 0;
      this.low = this.high = row.throttle;
      return (this.broken = false);
    }
    this.samples++;
    this.low = Math.min(this.low, row.throttle);
    this.high = Math.max(this.high, row.throttle);
    this.age_us = row.tick_us - this.since_us;
    return (this.broken = this.age_us >= this.longest_us && this.samples >= FROZEN_SAMPLES && this.high - this.low >= this.moved);
  }

  finding(): Finding {
    const { unit, column, kind } = this.of;
    return {
      code: 'SENSOR_FROZEN', value: this.age_us / 1000, limit: this.longest_us / 1000, unit: 'ms', channel: column,
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
