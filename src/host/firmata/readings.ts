// From what the board reports to samples of the rig's channels: raw counts, one a period, with a mark when they cannot be believed.
import { ANALOG, ADS1115, NAU7802 } from '../../model/converters';
import type { ChannelElement, ChannelSource, RigChannel } from '../../model/files/rig-channels';
import { dividerResistance_ohm, pt100_degC, thermistor_degC, typeK_degC } from '../../model/sensor-laws';
import { PERIOD_NONE } from '../../wire/messages';
import { signed, unsigned } from './coding';
import type { I2cReply } from './i2c';

/** A sample: counts as the channel declares them. Not valid: fresh, but nobody may take it for a measurement. */
export interface Sample {
  readonly counts: number;
  readonly valid: boolean;
}

const INVALID: Sample = { counts: 0, valid: false };
/** A converter with averages: the counts of that many readings are added up. */
type Law = (sum: number, readings: number) => Sample;
const asItIs: Law = (sum) => ({ counts: sum, valid: true });

/** Takes every reading of a channel and makes one sample a period. */
export class ChannelReader {
  /** Samples told so far. */
  samples = 0;
  private readonly every: number;
  private readonly window: number[] = [];
  private count = 0;

  /**
   * @param tick_us time between two readings
   * @param adds how many readings one sample adds up
   */
  constructor(channel: RigChannel, tick_us: number, private readonly adds: number, private readonly law: Law, private readonly tell: (sample: Sample) => void) {
    this.every = Math.max(1, Math.round(channel.period_us / tick_us));
  }

  /** A reading in counts of the part; null: it could not be had. */
  take(reading: number | null): void {
    if (reading === null) {
      this.window.length = 0;
      this.give(INVALID);
      return;
    }
    this.window.push(reading);
    if (this.window.length > this.adds) this.window.shift();
    this.count++;
    if (this.count < this.every || this.window.length < this.adds) return;
    this.give(this.law(this.window.reduce((sum, x) => sum + x, 0), this.window.length));
  }

  private give(sample: Sample): void {
    this.count = 0;
    this.samples++;
    this.tell(sample);
  }
}

/** The register that a channel is read from, and how its bytes become counts. Null for a channel that is not on the bus. */
export function registerOf(channel: RigChannel): { readonly address: number; readonly register: number; readonly bytes: number; readonly decode: (reply: I2cReply) => number | null } | null {
  const { source, kind } = channel;
  if (source.kind === 'power-monitor') {
    const { address, part } = source;
    if (kind !== 'voltage') return { address, register: 1, bytes: 2, decode: (r) => (r === null ? null : signed(r)) };
    // INA219: three flags below the value; the lowest says that a calculation has overflowed.
    const decode = part === 'ina226' ? unsigned : (r: readonly number[]) => unsigned(r) >> 3;
    return { address, register: 2, bytes: 2, decode: (r) => (r === null ? null : decode(r)) };
  }
  if (source.kind !== 'converter') return null;
  const { most } = source.part === 'ads1115' ? ADS1115 : NAU7802;
  // At the end of its range a converter no longer measures.
  const inside = (counts: number): number | null => (counts >= most || counts <= -most - 1 ? null : counts);
  const decode = (r: I2cReply): number | null => (r === null ? null : inside(signed(r)));
  return source.part === 'ads1115' ? { address: source.address, register: 0, bytes: 2, decode } : { address: source.address, register: 0x12, bytes: 3, decode };
}

/** The analogue input that a channel is read from; null for another source. */
export function analogInputOf(channel: RigChannel): number | null {
  const { source } = channel;
  return source.kind === 'analog' || source.kind === 'thermistor' || source.kind === 'analog-tachometer' ? source.input : null;
}

/** The law of a channel, and how many readings one of its samples adds up. */
export function lawOf(channel: RigChannel): { readonly law: Law; readonly adds: number } {
  const { source } = channel;
  switch (source.kind) {
    case 'thermistor': return { adds: channel.averages, law: thermistorLaw(channel, source) };
    case 'analog-tachometer': return { adds: channel.averages, law: tachometerLaw(channel, source.per_count_rpm) };
    // The part averages by itself.
    case 'power-monitor': return { adds: 1, law: asItIs };
    case 'analog':
    case 'converter': return { adds: channel.averages, law: source.element === null ? asItIs : elementLaw(channel, source.element, voltsOf(source), source.kind === 'analog' ? ANALOG.most - NEAR_END : Infinity) };
    case 'board':
    case 'esc-telemetry':
    case 'tachometer': return { adds: channel.averages, law: asItIs };
  }
}

/** So near to an end of its range an input says that the thermistor is open or shorted, counts. */
const NEAR_END = 3;

function thermistorLaw(channel: RigChannel, t: { readonly resistance_25_ohm: number; readonly beta_K: number; readonly series_ohm: number }): Law {
  return (sum, readings) => {
    const counts = sum / readings;
    if (counts < NEAR_END || counts > ANALOG.most - NEAR_END) return INVALID;
    // A count stands for the middle of its step.
    const degC = thermistor_degC(dividerResistance_ohm((counts + 0.5) / (ANALOG.most + 1), t.series_ohm), t.resistance_25_ohm, t.beta_K);
    return { counts: Math.round(degC / channel.gain) + channel.zero, valid: true };
  };
}

/** Volts at the input by its counts. An analogue input's count stands for the middle of its step. */
function voltsOf(source: Extract<ChannelSource, { kind: 'analog' | 'converter' }>): (counts: number) => number {
  if (source.kind === 'analog') return (counts) => ((counts + 0.5) / (ANALOG.most + 1)) * ANALOG.full_V;
  const full_V = ADS1115.full_V.get(source.amplifier) ?? NaN;
  return (counts) => (counts / (ADS1115.most + 1)) * full_V;
}

/**
 * Pt100 and type K: by the laws of their standards; a reading outside these is a broken wire or a wrong part, and so is one above
 * `most`, the end of an input that has no other way to say so.
 */
function elementLaw(channel: RigChannel, element: ChannelElement, volts: (counts: number) => number, most: number): Law {
  return (sum, readings) => {
    const counts = sum / readings;
    if (counts > most) return INVALID;
    const V = volts(counts) / element.boost;
    const degC = element.kind === 'pt100' ? pt100_degC(V / element.feed_A) : typeK_degC(V * 1000, element.cold_junction_degC);
    return Number.isNaN(degC) ? INVALID : { counts: Math.round(degC / channel.gain) + channel.zero, valid: true };
  };
}

/** Below so many counts a tachometer cannot be told from standstill. */
const STANDSTILL_COUNTS = 2;

function tachometerLaw(channel: RigChannel, perCount_rpm: number): Law {
  return (sum, readings) => {
    const counts = sum / readings;
    if (counts < STANDSTILL_COUNTS) return { counts: PERIOD_NONE, valid: false };
    const turn_s = 60 / (counts * perCount_rpm);
    const period = Math.round(turn_s / (channel.pole_pairs ?? 1) / channel.gain);
    return period >= PERIOD_NONE ? { counts: PERIOD_NONE, valid: false } : { counts: Math.max(1, period), valid: true };
  };
}
