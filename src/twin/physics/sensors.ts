/**
 * Converters: from what is true to raw counts. Each channel has a gain and a zero error drawn once per seed from the
 * uncertainty that its calibration states, noise, a range that it clips to, and a mode that a fault may change.
 */
import { MODE } from './faults';
import type { ConverterParameters } from './parameters';
import type { Rng } from './rng';

/** What a rig file would declare of a channel; SI = (counts − offset_counts)·scale. Says nothing of the drawn errors. */
export interface ChannelFact {
  readonly index: number;
  readonly name: string;
  readonly unit: 'A' | 'V' | 's' | 'N' | 'degC';
  /** SI per count. */
  readonly scale: number;
  /** Counts at SI zero. */
  readonly offset_counts: number;
  readonly min_counts: number;
  readonly max_counts: number;
  /** Time between readings. */
  readonly period_us: number;
  /** Conversions summed into one reading. */
  readonly average: number;
  readonly filter: { readonly kind: 'none' } | { readonly kind: 'first-order'; readonly cutoff_Hz: number };
  /** Standard uncertainty of the gain, relative. */
  readonly gainUncertainty: number;
  /** Standard uncertainty of the zero, SI. */
  readonly offsetUncertainty: number;
  /** Standard deviation of one reading, SI. */
  readonly noise: number;
}

/** Counts of the period channel while nothing commutates. */
export const NO_COMMUTATION = 65535;

/** The declared facts of a converter as channel `index`. */
export function channelFact(index: number, converter: ConverterParameters): ChannelFact {
  const { average } = converter;
  return {
    index,
    name: converter.name,
    unit: converter.unit,
    scale: converter.step / average,
    offset_counts: converter.zero_counts * average,
    min_counts: converter.min_counts * average,
    max_counts: converter.max_counts * average,
    period_us: converter.conversion_us * average,
    average,
    filter: converter.filter_Hz === null ? { kind: 'none' } : { kind: 'first-order', cutoff_Hz: converter.filter_Hz },
    gainUncertainty: converter.gainUncertainty,
    offsetUncertainty: converter.offsetUncertainty,
    noise: converter.noise / Math.sqrt(average),
  };
}

/** What the controller would read: raw counts by channel and the masks. Converters write into it. */
export interface Readings {
  readonly counts: Int32Array;
  fresh: number;
  valid: number;
}

/** One channel: turns true values into counts and keeps what the controller would read. */
export class Converter {
  mode: number = MODE.normal;
  /** Ticks until the next reading. */
  due: number;
  /**
   * How long before the end of its tick a reading is due, ticks, above 0 and up to 1, as no clock of a sensor keeps step with the
   * controller's. Only telemetry of speed looks at it; the others tell means, or change little in a tick.
   */
  readonly early: number;
  /** The drawn errors; for tests and graders only. */
  readonly gainError: number;
  readonly offsetError: number;
  readonly periodTicks: number;
  private readonly perCount: number;
  private readonly zero: number;
  private readonly low: number;
  private readonly high: number;
  private readonly noise_counts: number;
  private readonly bit: number;

  /** @param calibration draws the errors; null: none. @param noise null: no noise. @param phase 0..1: when the first reading falls in its period. */
  constructor(
    private readonly index: number, private readonly readings: Readings, parameters: ConverterParameters, tick_us: number,
    calibration: Rng | null, private readonly noise: Rng | null, phase: number,
  ) {
    const { average, step } = parameters;
    this.bit = 1 << index;
    this.periodTicks = wholeTicks(parameters.name, parameters.conversion_us * average, tick_us);
    this.due = 1 + Math.floor(phase * this.periodTicks);
    this.early = this.due - phase * this.periodTicks;
    this.gainError = calibration === null ? 0 : parameters.gainUncertainty * calibration.normal();
    this.offsetError = calibration === null ? 0 : parameters.offsetUncertainty * calibration.normal();
    this.perCount = average / step;
    this.zero = parameters.zero_counts * average;
    this.low = parameters.min_counts * average;
    this.high = parameters.max_counts * average;
    // Noise of the sum of `average` conversions; each of them also carries its own rounding (1/12 count²).
    const rounding = average > 1 ? 1 / 12 : 0;
    this.noise_counts = Math.sqrt(average * ((parameters.noise / step) ** 2 + rounding));
  }

  /** A reading of the mean true value `si`. */
  read(si: number): void {
    let counts = this.zero + (si * (1 + this.gainError) + this.offsetError) * this.perCount;
    if (this.noise !== null) counts += this.noise_counts * this.noise.normal();
    this.publish(Math.round(counts));
  }

  /** A reading that is already counts; clips to the range and obeys the fault mode. */
  publish(counts: number): void {
    if (this.mode === MODE.silent) return;
    const readings = this.readings;
    readings.fresh |= this.bit;
    readings.valid |= this.bit;
    if (this.mode === MODE.normal) readings.counts[this.index] = counts < this.low ? this.low : counts > this.high ? this.high : counts;
    else if (this.mode !== MODE.frozen) this.abnormal();
  }

  private abnormal(): void {
    this.readings.counts[this.index] = this.mode === MODE.low ? this.low : this.high;
    if (this.mode === MODE.open) this.readings.valid &= ~this.bit;
  }

  /** Lets `ticks` pass; true when a reading is due (at most one, the newest, however long it took). */
  elapse(ticks: number): boolean {
    const due = this.due - ticks;
    if (due > 0) {
      this.due = due;
      return false;
    }
    this.due = due + this.periodTicks * (1 + (((0 - due) / this.periodTicks) | 0));
    return true;
  }
}

function wholeTicks(name: string, period_us: number, tick_us: number): number {
  const ticks = period_us / tick_us;
  if (!Number.isInteger(ticks) || ticks < 1) {
    throw new RangeError(`Channel ${name}: a reading every ${period_us} µs is no whole number of ${tick_us} µs ticks. Choose a multiple of ${tick_us} µs.`);
  }
  return ticks;
}

const COSINE_STEPS = 1024;
const COSINE = Float64Array.from({ length: COSINE_STEPS }, (_, k) => Math.cos(((k + 0.5) * 2 * Math.PI) / COSINE_STEPS));

/**
 * Current path: the bridge's ripple that the capacitor leaves, a first-order filter, and conversions at fixed instants. The
 * ripple is seen at the conversion's instant, so a switching frequency near a multiple of the conversion rate turns into a
 * slow error, which only the filter removes; averaging removes what falls on multiples of the reading rate.
 */
export class CurrentPath {
  private filtered_A = 0;
  private sum_A = 0;
  private count = 0;
  private countdown = 1;
  private cycle: number;
  private cyclePerTick = 0;
  private ripplePass = 0;
  private readonly smoothing: number;
  private readonly every: number;
  private readonly average: number;
  private readonly cutoff_Hz: number | null;

  /** @param clockError relative error of the ESC's clock. @param phase start of the switching cycle, 0..1. */
  constructor(
    parameters: ConverterParameters, private readonly share: number, private readonly tick_s: number,
    private readonly clockError: number, phase: number,
  ) {
    this.cutoff_Hz = parameters.filter_Hz;
    this.smoothing = smoothingOf(parameters.filter_Hz, tick_s);
    this.every = Math.round((parameters.conversion_us * 1e-6) / tick_s);
    this.average = parameters.average;
    this.cycle = phase;
  }

  /** Tells the path the ESC's nominal switching frequency. */
  setSwitching(frequency_Hz: number): void {
    const actual_Hz = frequency_Hz * (1 + this.clockError);
    const cycles = actual_Hz * this.tick_s;
    this.cyclePerTick = cycles - Math.floor(cycles);
    const ratio = this.cutoff_Hz === null ? 0 : actual_Hz / this.cutoff_Hz;
    this.ripplePass = this.share / Math.sqrt(1 + ratio * ratio);
  }

  /** One tick; returns true when a reading is complete (`take` it). */
  step(drive: { readonly current_A: number; readonly rippleAmplitude_A: number }): boolean {
    this.filtered_A += (drive.current_A - this.filtered_A) * this.smoothing;
    let cycle = this.cycle + this.cyclePerTick;
    if (cycle >= 1) cycle -= 1;
    this.cycle = cycle;
    if (--this.countdown > 0) return false;
    this.countdown = this.every;
    this.sum_A += this.filtered_A + drive.rippleAmplitude_A * this.ripplePass * COSINE[(cycle * COSINE_STEPS) | 0];
    return ++this.count >= this.average;
  }

  /** Mean of the reading that is complete. */
  take(): number {
    const mean = this.sum_A / this.count;
    this.sum_A = 0;
    this.count = 0;
    return mean;
  }

  /** At rest: the filter has settled to `current_A`. */
  settle(current_A: number): void {
    this.filtered_A = current_A;
  }
}

/** Voltage path: a first-order filter and averaged conversions (the bus ripple at the switching frequency is left out). */
export class VoltagePath {
  private filtered_V: number;
  private sum_V = 0;
  private count = 0;
  private countdown = 1;
  private readonly smoothing: number;
  private readonly every: number;
  private readonly average: number;

  constructor(parameters: ConverterParameters, tick_s: number, start_V: number, private readonly atSupply: boolean) {
    this.smoothing = smoothingOf(parameters.filter_Hz, tick_s);
    this.every = Math.round((parameters.conversion_us * 1e-6) / tick_s);
    this.average = parameters.average;
    this.filtered_V = start_V;
  }

  /** One tick; returns true when a reading is complete (`take` it). */
  step(supply: { readonly bus_V: number; readonly terminal_V: number }): boolean {
    const voltage_V = this.atSupply ? supply.terminal_V : supply.bus_V;
    this.filtered_V += (voltage_V - this.filtered_V) * this.smoothing;
    if (--this.countdown > 0) return false;
    this.countdown = this.every;
    this.sum_V += this.filtered_V;
    return ++this.count >= this.average;
  }

  take(): number {
    const mean = this.sum_V / this.count;
    this.sum_V = 0;
    this.count = 0;
    return mean;
  }

  settle(voltage_V: number): void {
    this.filtered_V = voltage_V;
  }
}

function smoothingOf(cutoff_Hz: number | null, tick_s: number): number {
  return cutoff_Hz === null ? 1 : 1 - Math.exp(-2 * Math.PI * cutoff_Hz * tick_s);
}

/**
 * Electrical period telemetry in counts: the time of one electrical turn, kept to `bits` significant bits, with a random
 * instant of reading (`dither` −0.5..0.5). `NO_COMMUTATION` below about 153 turns per minute at six pole pairs.
 */
export function periodCounts(electrical_radps: number, step_s: number, gain: number, bits: number, dither: number): number {
  const period = ((2 * Math.PI) / electrical_radps / step_s) * gain + dither;
  if (!(period < 65500)) return NO_COMMUTATION;
  let mantissa = period;
  let scale = 1;
  const limit = 1 << bits;
  while (mantissa >= limit) {
    mantissa /= 2;
    scale *= 2;
  }
  const counts = Math.round(mantissa) * scale;
  return counts < 1 ? 1 : counts >= NO_COMMUTATION ? NO_COMMUTATION : counts;
}
