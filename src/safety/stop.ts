// When is a motor stopped? When measurement says so, not when the board says it sends zero.
import type { RigLimits } from '../model/files/rig';
import { busStands, CurrentDoubt, OLD, type BusCheck } from './current-doubt';
import { show, showTime, type Channel, type Row } from './row';

export interface StopResult {
  readonly confirmed: boolean;
  /** From the stop to the first moment of stillness (to the end of the wait, when only silence told it), or to giving up, µs. */
  readonly took_us: number;
  readonly detail: string;
}

/**
 * How long stillness must last. With a speed reading that says "slow", a few samples do. Speed telemetry vanishes near
 * zero, so "no reading" can mean still; but some speed controllers fall silent as soon as the throttle is zero, while a
 * bare motor coasts on. So: no reading counts, with low current, after a moment when the last reading was already slow,
 * and only after half of the allowed time when it was fast, or when the rig measures no speed at all.
 */
const HOLD_SLOW_US = 50_000;
const HOLD_SILENT_US = 200_000;
/** The last reading was slow when it was below this many times the stop speed. */
const NEARLY = 3;

export interface StopSetup {
  readonly current: Channel;
  readonly speed: Channel | null;
  readonly limit: RigLimits['stop'];
  /** Current from which on no reading is doubted, A: `limits.current_peak`. */
  readonly peak_A: number;
  /** The bus, where its voltage is measured and what it was set to is known. */
  readonly bus: BusCheck | null;
}

/** Watches rows after a stop until the motor is still for long enough, or the time is over. */
export class StopWatch {
  /** Being watched: begun and not over. */
  active = false;
  private began_us = 0;
  private still_us = -1;
  private lastSpeed = Infinity;
  /** The first and the latest good speed reading since the stop, rpm; null before there is one. */
  private firstSpeed: number | null = null;
  private seenSpeed: number | null = null;
  private readonly doubt: CurrentDoubt;
  /** Why the current was not believed in the latest row; null when it was. */
  private doubted: string | null = null;

  constructor(private readonly setup: StopSetup) {
    this.doubt = new CurrentDoubt(setup.current, setup.peak_A);
  }

  /** A stop was asked for or a trip came at this device time. A second stop does not extend the first one's time. */
  begin(tick_us: number): void {
    if (this.active) return;
    this.active = true;
    this.still_us = -1;
    this.lastSpeed = Infinity;
    this.firstSpeed = this.seenSpeed = null;
    this.doubted = null;
    this.beginAt(tick_us);
  }

  /** Where no row has come yet (-1), time begins with the first: a board may have run for hours. */
  private beginAt(tick_us: number): void {
    this.began_us = tick_us;
    this.doubt.begin(tick_us);
  }

  /** Takes a row in; returns the result when there is one, and is then no longer active. */
  step(row: Row): StopResult | null {
    if (!this.active || row.tick_us < this.began_us) return null;
    if (this.began_us < 0) this.beginAt(row.tick_us);
    this.doubt.step(row);
    const trusted = this.doubted === null;
    const hold_us = this.holdNeeded(row);
    // Stillness told by other readings does not count for the one that has just come back, nor the other way round.
    if (hold_us === null || trusted !== (this.doubted === null)) this.still_us = -1;
    if (hold_us !== null && this.still_us < 0) this.still_us = row.tick_us;
    const within_us = this.setup.limit.within_s * 1e6;
    if (hold_us !== null && row.tick_us - this.still_us >= hold_us && this.still_us - this.began_us <= within_us) {
      // Silence says that it stands still by now, not since when.
      const bySilence = hold_us > HOLD_SILENT_US;
      const took_us = (bySilence ? row.tick_us : this.still_us) - this.began_us;
      const since = bySilence ? `at most ${showTime(took_us)}` : showTime(took_us);
      return this.end({ confirmed: true, took_us, detail: `Measured still ${since} after the stop${this.doubted === null ? '' : ' by speed and bus voltage alone'}: ${this.numbers(row)}.` });
    }
    // A stillness that began in time may be watched to its end.
    const deadline_us = this.began_us + within_us + (this.still_us >= 0 ? (hold_us ?? 0) : 0);
    return row.tick_us > deadline_us ? this.giveUp(row, row.tick_us - this.began_us) : null;
  }

  /** No rows come any more: nothing can be measured. `waited_us` on the clock that noticed. */
  giveUp(row: Row, waited_us: number): StopResult {
    const silence = row.tick_us < Math.max(0, this.began_us) ? 'no row came since' : this.numbers(row);
    return this.end({
      confirmed: false, took_us: waited_us,
      detail: `Not measured still within ${showTime(this.setup.limit.within_s * 1e6)}: ${silence}. Cut the power.`,
    });
  }

  private end(result: StopResult): StopResult {
    this.active = false;
    return result;
  }

  /** How long the present stillness must last, or null when the motor is not still in this row. */
  private holdNeeded(row: Row): number | null {
    const { current, speed, limit } = this.setup;
    const amps = row.si[current.id];
    const known = row.at_us[current.id] >= 0 && row.tick_us - row.at_us[current.id] <= OLD * current.period_us;
    const silent_us = Math.max(HOLD_SILENT_US, (limit.within_s * 1e6) / 2);
    const bit = speed === null ? 0 : 1 << speed.id;
    if (speed !== null && (row.good & bit) !== 0) {
      this.seenSpeed = row.si[speed.id];
      this.firstSpeed ??= this.seenSpeed;
    }
    this.doubted = null;
    if (row.driving || row.throttle > 0) return null;
    if (!known || !(amps < limit.current_A)) return this.withoutCurrent(row) ? silent_us : null;
    if (speed === null) return silent_us;
    if ((row.good & bit) !== 0) {
      this.lastSpeed = row.si[speed.id];
      return this.lastSpeed < limit.speed_rpm ? HOLD_SLOW_US : null;
    }
    // Between two samples the last one stands.
    if ((row.fresh & bit) === 0 && row.tick_us - row.at_us[speed.id] <= OLD * speed.period_us && row.at_us[speed.id] >= 0)
      return row.si[speed.id] < limit.speed_rpm ? HOLD_SLOW_US : null;
    if (this.lastSpeed === Infinity && row.at_us[speed.id] >= this.began_us - OLD * speed.period_us) this.lastSpeed = row.si[speed.id];
    if (this.lastSpeed === Infinity && this.neverTurned(row)) return HOLD_SILENT_US;
    return this.lastSpeed < NEARLY * limit.speed_rpm ? HOLD_SILENT_US : silent_us;
  }

  /**
   * The current reading itself has failed; speed was measured since the stop, has changed and is slow, and the bus stands: a
   * rotor that is driven, a board whose readings all hang, or a short circuit would show in one of them. Silence of the speed
   * alone proves nothing here.
   */
  private withoutCurrent(row: Row): boolean {
    this.doubted = this.doubt.why(row);
    const { seenSpeed, firstSpeed, setup } = this;
    return this.doubted !== null && seenSpeed !== null && seenSpeed !== firstSpeed && seenSpeed < setup.limit.speed_rpm && busStands(row, setup.bus);
  }

  /** The last speed reading, if there ever was one, was already no rotation. */
  private neverTurned(row: Row): boolean {
    const { speed } = this.setup;
    return speed !== null && (row.at_us[speed.id] < 0 || row.si[speed.id] < this.setup.limit.speed_rpm);
  }

  private numbers(row: Row): string {
    const { current, speed, limit } = this.setup;
    const amps = `${this.doubted === null ? '' : `${this.doubted}; `}${show(row.si[current.id])} A (limit ${show(limit.current_A)} A)`;
    if (speed === null) return `${amps}, speed not measured`;
    const rpm = (row.good & (1 << speed.id)) !== 0 ? `${show(row.si[speed.id])} rpm` : 'no speed reading';
    return `${amps}, ${rpm} (limit ${show(limit.speed_rpm)} rpm)`;
  }
}
