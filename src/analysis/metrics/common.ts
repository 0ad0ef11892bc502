/** What several protocols share: means over windows, the zero of the load cell, electrical power at the ESC, air. */
import type { ChannelKind } from '../../model/channel';
import { cipm2007 } from '../physics/air';
import { between, channelOf, withRole, type DesyncEvent, type PlayedSegment, type RunChannel, type RunData, type Series } from '../run-data';
import { derived, type Reading } from './reading';
import { resolutionEffects } from './resolution';

/** A reading or the reason why there is none. */
export type Maybe<T = Reading> = { readonly ok: true; readonly value: T } | { readonly ok: false; readonly reason: string };
export const found = <T>(value: T): Maybe<T> => ({ ok: true, value });
export const absent = (reason: string): { readonly ok: false; readonly reason: string } => ({ ok: false, reason });

/** A stretch of time, s. */
export type Span = { readonly from_s: number; readonly to_s: number };

/** Full-throttle values are taken from here to there after arrival, s (DESIGN: settled, and not yet warm). */
const PLATEAU_FROM_S = 0.4;
const PLATEAU_TO_S = 0.9;
/** A plateau that leaves less than this is no plateau, s. */
const PLATEAU_LEAST_S = 0.1;

/** The part of a plateau that is used, or why it cannot be. */
export function plateauSpan(segment: PlayedSegment): Maybe<Span> {
  const span = { from_s: segment.start_s + PLATEAU_FROM_S, to_s: Math.min(segment.start_s + PLATEAU_TO_S, segment.end_s) };
  if (span.to_s - span.from_s < PLATEAU_LEAST_S) {
    return absent(`the plateau lasted ${(segment.end_s - segment.start_s).toFixed(2)} s; ${PLATEAU_FROM_S + PLATEAU_LEAST_S} s or more are needed`);
  }
  return found(span);
}

/** After a desync the rotor needs this long to be where it was, s. */
const AFTERMATH_S = 0.3;

/** The time that a desync spoils. The event stands at its end or its start, so its length counts on both sides. */
export const spoiledBy = ({ t_s, duration_s }: DesyncEvent): Span => ({ from_s: t_s - duration_s, to_s: t_s + duration_s + AFTERMATH_S });

/** The reason why a span cannot be used when a desync falls into it or just before it; null when none does. */
export function desyncIn(data: RunData, span: Span): string | null {
  const hit = data.desyncs.some((d) => spoiledBy(d).to_s > span.from_s && spoiledBy(d).from_s < span.to_s);
  return !hit ? null : 'a desync falls into the part that is used';
}

const BATCHES = 10;

/** Mean and its standard error from ten batch means, which respects that neighbouring samples are not independent. */
export function meanOf(value: Float64Array): { readonly mean: number; readonly se: number } {
  const n = value.length;
  const batches = Math.min(BATCHES, n);
  const means: number[] = [];
  let total = 0;
  for (let b = 0; b < batches; b++) {
    const from = Math.floor((b * n) / batches);
    const to = Math.floor(((b + 1) * n) / batches);
    let sum = 0;
    for (let i = from; i < to; i++) sum += value[i];
    total += sum;
    means.push(sum / (to - from));
  }
  const mean = total / n;
  if (batches < 2) return { mean, se: 0 };
  const centre = means.reduce((a, b) => a + b, 0) / batches;
  const square = means.reduce((sum, m) => sum + (m - centre) ** 2, 0);
  return { mean, se: Math.sqrt(square / (batches - 1) / batches) };
}

/** The instrument inputs of a channel: what one standard uncertainty of its gain and offset does to a value. */
export function channelEffects(channel: RunChannel, value: number, zeroed = false): Record<string, number> {
  return {
    [`${channel.kind}_gain`]: value * channel.u_gain,
    ...(zeroed || channel.u_offset === 0 ? {} : { [`${channel.kind}_offset`]: channel.u_offset }),
  };
}

/**
 * How old a sample is when its row is written: anything up to a period of its channel, as no one tells the sensor when to measure.
 * Half a period is taken off times that begin at a command; what is left is the same in every step and every repeat.
 */
export const sampleAge = (channel: RunChannel): Reading =>
  ({ value: channel.period_s / 2, within: 0, effects: { [`${channel.kind}_timing`]: channel.period_s / Math.sqrt(12) } });

/** Least samples that make a mean. */
const LEAST_SAMPLES = 4;

/** Mean of a channel over a span. */
export function meanReading(data: RunData, kind: ChannelKind, span: Span): Maybe {
  const channel = channelOf(data, kind);
  if (channel === null) return absent(`the rig has no ${kind.replaceAll('_', ' ')} channel`);
  return meanOfChannel(channel, span);
}

function meanOfChannel(channel: RunChannel, span: Span): Maybe {
  const part = between(channel, span.from_s, span.to_s);
  if (part.value.length < LEAST_SAMPLES) {
    return absent(`${channel.column}: ${part.value.length} usable samples from ${span.from_s.toFixed(2)} to ${span.to_s.toFixed(2)} s; ${LEAST_SAMPLES} or more are needed`);
  }
  const { mean, se } = meanOf(part.value);
  return found({ value: mean, within: se, effects: { ...channelEffects(channel, mean), ...resolutionEffects(channel, part.value, mean) } });
}

/** The load cell's zero over the run. */
export type ThrustZero = {
  /** Zero at a time, N. */
  readonly at: (t_s: number) => number;
  /** After less before, N; null with fewer than two zeros. */
  readonly drift_N: number | null;
  readonly taken: 'before and after' | 'before' | 'after' | 'none';
  readonly flags: readonly string[];
};

/** The first part of a rest is left out, as a share of it: the motor may coast, the stand may swing. */
const ZERO_SKIP = { before: 0.1, after: 0.5 };

/** The zero from the rests before and after: a straight line between their means, or the one there is. */
export function thrustZero(data: RunData): ThrustZero {
  const channel = channelOf(data, 'thrust');
  const flags: string[] = [];
  if (channel === null) return { at: () => 0, drift_N: null, taken: 'none', flags };
  const mean = (role: 'before' | 'after'): { t: number; zero: number } | null => {
    const segment = withRole(data, `zero-${role}`).at(role === 'before' ? 0 : -1);
    if (segment === undefined) return null;
    const part = between(channel, segment.start_s + ZERO_SKIP[role] * (segment.end_s - segment.start_s), segment.end_s);
    if (part.value.length < LEAST_SAMPLES) {
      flags.push(`the zero ${role} the run has ${part.value.length} samples and is not used`);
      return null;
    }
    return { t: (part.t_s[0] + part.t_s[part.t_s.length - 1]) / 2, zero: meanOf(part.value).mean };
  };
  const before = mean('before');
  const after = mean('after');
  if (before !== null && after !== null) {
    const slope = (after.zero - before.zero) / (after.t - before.t);
    return { at: (t) => before.zero + slope * (t - before.t), drift_N: after.zero - before.zero, taken: 'before and after', flags };
  }
  const one = before ?? after;
  if (one === null) return { at: () => 0, drift_N: null, taken: 'none', flags: [...flags, 'no zero of the load cell was taken: its offset is not corrected'] };
  return { at: () => one.zero, drift_N: null, taken: before === null ? 'after' : 'before', flags: [...flags, `the zero of the load cell was taken ${before === null ? 'after' : 'before'} the run only: drift is not corrected`] };
}

/** Thrust with the zero taken off, sample by sample. */
export function zeroedThrust(data: RunData, zero: ThrustZero): RunChannel | null {
  const channel = channelOf(data, 'thrust');
  if (channel === null || zero.taken === 'none') return channel;
  const value = new Float64Array(channel.value.length);
  for (let i = 0; i < value.length; i++) value[i] = channel.value[i] - zero.at(channel.t_s[i]);
  return { ...channel, value };
}

/** Mean thrust over a span, zero-corrected. */
export function thrustReading(data: RunData, zero: ThrustZero, span: Span): Maybe {
  const raw = meanReading(data, 'thrust', span);
  const channel = channelOf(data, 'thrust');
  if (!raw.ok || channel === null) return raw;
  const value = raw.value.value - zero.at((span.from_s + span.to_s) / 2);
  return found({ value, within: raw.value.within, effects: channelEffects(channel, value, zero.taken !== 'none') });
}

/** Current, voltage at the ESC and power there over a span. */
export type Electrical = { readonly current: Reading; readonly voltage: Reading; readonly power: Reading };

/** Means of the electrical side. Where the voltage is sensed at the supply, the drop along the leads is taken off. */
export function electrical(data: RunData, span: Span): Maybe<Electrical> {
  const current = meanReading(data, 'current', span);
  if (!current.ok) return current;
  const sensed = meanReading(data, 'voltage', span);
  if (!sensed.ok) return sensed;
  const { voltage_at, lead_resistance_ohm: r, u_lead_resistance } = data.facts;
  const i = current.value;
  const lead: Reading = { value: r, within: 0, effects: u_lead_resistance > 0 ? { lead_resistance: r * u_lead_resistance } : {} };
  const atSupply = voltage_at === 'supply';
  const voltage = atSupply ? derived(sensed.value.value - i.value * r, [[sensed.value, 1], [i, -r], [lead, -i.value]]) : sensed.value;
  const series = powerSeries(data, span);
  const mean = series === null ? voltage.value * i.value : meanOf(series.value).mean;
  return found({ current: i, voltage, power: derived(mean, [[voltage, i.value], [i, voltage.value]]) });
}

/** Electrical power at the ESC, sample by sample; null where current and voltage are not sampled together. */
export function powerSeries(data: RunData, span: Span): Series | null {
  const current = channelOf(data, 'current');
  const voltage = channelOf(data, 'voltage');
  if (current === null || voltage === null) return null;
  const i = between(current, span.from_s, span.to_s);
  const v = between(voltage, span.from_s, span.to_s);
  const n = i.value.length;
  if (n !== v.value.length || n === 0 || i.t_s[0] !== v.t_s[0] || i.t_s[n - 1] !== v.t_s[n - 1]) return null;
  const drop = data.facts.voltage_at === 'supply' ? data.facts.lead_resistance_ohm : 0;
  const value = new Float64Array(n);
  for (let k = 0; k < n; k++) value[k] = (v.value[k] - i.value[k] * drop) * i.value[k];
  return { t_s: i.t_s, value };
}

/** Standard uncertainty of a density from ordinary bench instruments, relative (common practice, no published source). */
const U_DENSITY = 0.003;

/** Air density beside the stand, kg/m³, when temperature, station pressure and humidity are known. */
export function airDensity(data: RunData): Maybe<Reading & { readonly flags: readonly string[] }> {
  if (data.facts.air === null) return absent('air temperature, station pressure and humidity are not stated in the rig file');
  const { density_kg_m3, flags } = cipm2007(data.facts.air);
  return found({ value: density_kg_m3, within: 0, effects: { air_density: density_kg_m3 * U_DENSITY }, flags });
}

/** Flags that hold for every figure of a run. */
export function runFlags(data: RunData): string[] {
  const flags: string[] = [];
  const current = channelOf(data, 'current');
  if (current !== null && current.filter_Hz === null && current.averaged <= 1) flags.push('the current channel declares no filter and no averaging: ripple may alias into it');
  const block = data.block ?? 1;
  if (block > 1) flags.push(`the run is so long that samples were averaged in blocks of ${block} before analysis: peaks and step times are blurred by as much`);
  for (const c of data.channels) {
    const all = c.value.length + c.impossible;
    // A speed that is not possible is a motor that stands still: nothing commutates, and that is how it is told.
    if (c.kind !== 'speed' && all > 0 && c.impossible > 0.05 * all) flags.push(`${c.column}: ${c.impossible} of ${all} samples were impossible and are left out`);
  }
  return flags;
}
