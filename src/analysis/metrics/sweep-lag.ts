/** How the two ramps of a sweep differ: the lag that both share, and the tilt that one lag does not explain. */
import { fitLine } from '../stats/linefit';
import { between, type PlayedSegment, type RunChannel, type Series } from '../run-data';
import { meanOf, plateauSpan } from './common';
import type { Effects, Reading } from './reading';
import { stepNear } from './coarse';
import { resolutionInputs, resolutionOf, sumOf } from './resolution';
import { cellsOf, inside, type Cells, type Ramp, type Sweep } from './sweep';

/** Part of the low level before the sweep that has settled. */
export const LOW_SETTLED = 0.5;
/** The lag is the mean over signals between these shares of the way from the low level to the plateau. */
const LAG_FROM = 0.2;
const LAG_TO = 0.8;
/** Throttle between two points that the ramps are compared at. */
const STEP = 0.01;
/** Part of the range of throttle at either end where the ramps are not compared. */
const END = 0.1;

/** Levels of a signal before and at the top of the sweep; null where the record does not show both. */
export function levelsOf(series: Series, s: Sweep): { readonly low: number; readonly high: number } | null {
  const top = samplesAt(series, s, 'high');
  const rest = samplesAt(series, s, 'low');
  if (top.length === 0 || rest.length === 0) return null;
  const [low, high] = [meanOf(rest).mean, meanOf(top).mean];
  return high > low ? { low, high } : null;
}

/** The samples that show a level. */
function samplesAt(series: Series, s: Sweep, side: 'low' | 'high'): Float64Array {
  if (side === 'low') return s.low === null ? firstOf(series, s.up) : between(series, ...settled(s.low)).value;
  const plateau = plateauSpan(s.plateau);
  return plateau.ok ? between(series, plateau.value.from_s, plateau.value.to_s).value : new Float64Array(0);
}

/** The settled part of the low level. */
export const settled = (low: PlayedSegment): [number, number] => [low.end_s - LOW_SETTLED * (low.end_s - low.start_s), low.end_s];

const firstOf = (series: Series, { segment }: Ramp): Float64Array => between(series, segment.start_s, segment.start_s + 0.02 * (segment.end_s - segment.start_s)).value;

/**
 * Lag between a signal and the throttle, s: half the distance of the ramps at equal signal over their rate, mean over all signals
 * between a fifth and four fifths of the way up. The mean time at which a ramp passes those is ∫(1 − share) dt with the share of
 * them already passed, which needs no crossings and so does not mind noise.
 */
export function lagOf(series: Series, s: Sweep): number | null {
  const levels = levelsOf(series, s);
  return levels === null ? null : lagBetween(series, s, levels);
}

/** The lag of speed with what its coarseness does to it through the two levels: another band of speeds has another mean lag. */
export function lagReading(speed: RunChannel, series: Series, s: Sweep): Reading | null {
  const levels = levelsOf(series, s);
  const value = levels === null ? null : lagBetween(series, s, levels);
  if (levels === null || value === null) return null;
  const effects: Effects[] = [];
  for (const side of ['low', 'high'] as const) {
    const u = resolutionOf(speed, samplesAt(series, s, side), levels[side]);
    if (u === 0) continue;
    const [more, less] = [u, -u].map((by) => lagBetween(series, s, { ...levels, [side]: levels[side] + by }));
    if (more !== null && less !== null) effects.push(resolutionInputs(speed, levels[side], (more - less) / 2));
  }
  return { value, within: 0, effects: sumOf(effects) };
}

function lagBetween(series: Series, s: Sweep, { low, high }: { readonly low: number; readonly high: number }): number | null {
  const [a, b] = [low + LAG_FROM * (high - low), low + LAG_TO * (high - low)];
  const up = timePassed(series, s.up, a, b);
  const down = timePassed(series, s.down, a, b);
  if (up === null || down === null) return null;
  const length = s.up.segment.end_s - s.up.segment.start_s;
  // Up: throttle from + rate·time, and the mean time is the length less the time passed. Down: top − rate·time. Half their difference over the rate.
  return (length - up + down - (s.up.to - s.up.from) / s.rate) / 2;
}

/**
 * ∫ share dt along a ramp, by trapezoids, with the share of the signals from `a` to `b` that have been passed; what comes before the
 * first sample and after the last is as they are.
 */
function timePassed(series: Series, { segment }: Ramp, a: number, b: number): number | null {
  const { t_s, value } = between(series, segment.start_s, segment.end_s);
  const n = value.length;
  if (n < 4) return null;
  const perSignal = 1 / (b - a);
  let before = passed((value[0] - a) * perSignal);
  let at = t_s[0];
  let sum = before * (at - segment.start_s);
  for (let i = 1; i < n; i++) {
    const now = passed((value[i] - a) * perSignal);
    const t = t_s[i];
    sum += ((before + now) / 2) * (t - at);
    before = now;
    at = t;
  }
  return sum + before * (segment.end_s - at);
}

const passed = (share: number): number => (share > 0 ? (share < 1 ? share : 1) : 0);

/** On straight lines between cells; null outside them. */
export function lineAt({ x, y }: Pick<Cells, 'x' | 'y'>, at: number): number | null {
  for (let i = 1; i < x.length; i++) if (x[i - 1] <= at && at <= x[i]) return y[i - 1] + ((at - x[i - 1]) / (x[i] - x[i - 1])) * (y[i] - y[i - 1]);
  return null;
}

/**
 * Down less up at equal throttle, both shifted by the signal's mean lag: the change of a straight line through it from the low to
 * the high end of the middle 80 % of throttle, as a share of the plateau. Linear in the samples, so noise does not bias it.
 */
export function tiltOf(series: Series, s: Sweep): Reading | null {
  const lag = lagOf(series, s);
  const levels = levelsOf(series, s);
  if (lag === null || levels === null || !(levels.high > 0)) return null;
  const shift = lag * s.rate;
  const range = s.up.to - s.up.from;
  const [from, to] = [s.up.from + END * range, s.up.to - END * range];
  const [up, down] = [s.up, s.down].map((ramp) => cellsOf(series, ramp, STEP));
  const middle = inside(up, from, to).x.length;
  const x = Array.from({ length: Math.max(4, middle) }, (_, i, all = Math.max(4, middle)) => from + ((to - from) * (i + 0.5)) / all);
  const z: number[] = [];
  const d: number[] = [];
  for (const v of x) {
    const [a, b] = [lineAt(up, v + shift), lineAt(down, v - shift)];
    if (a === null || b === null) continue;
    z.push((v - from) / (to - from));
    d.push((b - a) / levels.high);
  }
  const fit = fitLine(z, d);
  return fit.ok ? { value: fit.coefficients[1], within: fit.standardErrors?.[1] ?? 0, effects: {} } : null;
}

/** Hysteresis with what is to be said about it. */
export type Tilt = { readonly reading: Reading; readonly flags: readonly string[] };

/** Thrust may show so much more or less hysteresis than speed does before it is told. Rule of ours. */
const STAND_SHARE = 0.01;

/**
 * Hysteresis of thrust. Thrust goes with the square of speed, which no load cell drags on, so where speed is measured its square
 * stands for thrust; what thrust shows beyond that is play or creep of the stand and is told when it is large.
 */
export function thrustTilt(thrust: Series | null, speed: { readonly channel: RunChannel; readonly series: Series } | null, s: Sweep): Tilt | null {
  const seen = thrust === null ? null : tiltOf(thrust, s);
  if (speed === null) return seen === null ? null : { reading: seen, flags: [] };
  const { channel, series } = speed;
  const drive = tiltOf({ t_s: series.t_s, value: series.value.map((v) => v * v) }, s);
  if (drive === null) return null;
  const flags = seen === null || Math.abs(seen.value - drive.value) <= STAND_SHARE ? []
    : [`thrust itself shows ${percent(seen.value)} of hysteresis and the square of speed ${percent(drive.value)}: the stand drags, or the load cell creeps`];
  return { reading: { ...drive, effects: tiltCoarseness(channel, series, s, drive.value) }, flags };
}

/** A cell's mean over many steps is off by this share of one over their number at most: a quarter of a step on average over half of one. */
const LEFT_IN_PASSING = 1 / 8;
/** Cells from an end inwards that show how many steps one of them passes. */
const INWARDS = 3;

/**
 * What steps of speed do to a tilt of its square. At the plateau they move the share that it is taken as. On the ramps a cell's mean is
 * over all steps that are passed in it, and off by an eighth of a step over their number at most, or by half a step where less than a
 * quarter of one is passed. Cells share their borders, so errors of neighbours cancel and what the two ends of a line weigh is left.
 */
function tiltCoarseness(channel: RunChannel, series: Series, s: Sweep, tilt: number): Effects {
  const samples = samplesAt(series, s, 'high');
  const high = meanOf(samples).mean;
  const atPlateau = resolutionInputs(channel, high, (-2 * tilt * resolutionOf(channel, samples, high)) / high);
  const range = s.up.to - s.up.from;
  const { y } = inside(cellsOf(series, s.up, STEP), s.up.from + END * range, s.up.to - END * range);
  const n = y.length;
  if (n <= 2 * INWARDS) return atPlateau;
  // What is left in passing is no wave over places: the same at both ends of every run, as far as anyone knows.
  const atEnds = [[y[0], y[INWARDS]], [y[n - 1], y[n - 1 - INWARDS]]].map(([value, inwards]) => {
    const step = stepNear(channel, value);
    const passed = Math.abs(inwards - value) / INWARDS / step;
    const left = step === 0 ? 0 : (step * Math.min(0.5, LEFT_IN_PASSING / passed)) / Math.sqrt(3);
    // Either end weighs 6/n in the change of a line from end to end; two ramps.
    return Math.SQRT2 * (6 / n) * ((2 * value * left) / high ** 2);
  });
  const passing = Math.hypot(...atEnds);
  return { ...atPlateau, ...(passing === 0 ? {} : { [`${channel.kind}_resolution_passing`]: passing }) };
}

const percent = (share: number): string => `${(100 * share).toFixed(1)} %`;
