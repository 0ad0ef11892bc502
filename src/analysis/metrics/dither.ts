/**
 * Whether noise carries a coarse signal over its steps. A steady level alone cannot tell: a signal that rests on the edge of a step
 * toggles between two values with very little noise. Where the signal moves through many steps its own smooth course tells, in two ways.
 * What the samples show in the mean at each place within a step is seen where there are many of them. And their scatter, which is that
 * of a rectangle one step wide, 1/12 step², without noise, and the larger by the variance of noise.
 */
import type { RunChannel } from '../run-data';
import { placeAmong, stepNear } from './coarse';

/** A stretch counts from this many steps on; over them the place within a step takes every value. */
const SWEPT = 8;
const LEAST_SAMPLES = 12;
/** A signal that takes more samples than this for it rests rather than moves. */
const MOST_SAMPLES = 600;
/** Half way in time a smooth stretch is half way in value, to this share of it: else it begins or ends with a rest. */
const HALF_WAY = 0.1;
/** Samples that may be lost in a row, in periods. */
const MOST_LOST = 4;
/** Noise is looked for this near to a value, relative. */
const NEAR = 0.15;
/** Fewer stretches near a value say nothing. */
const LEAST_STRETCHES = 4;
/** Harmonics of the error over the place within a step; more of them would only be noise. */
const HARMONICS = [1, 2] as const;
/** The course of a stretch is known too badly where less than this of a harmonic is left by its own error. */
const LEAST_SEEN = 0.5;
/** Standard deviations up to the upper end that is taken. */
const BOUND = 2;

/**
 * A stretch of a moving signal: where it lies, its variance about a parabola in steps² and the degrees of freedom of that, and for each
 * harmonic the sums of the samples' errors (in steps) times cosine and sine of the place within the step.
 */
type Stretch = { readonly level: number; readonly variance: number; readonly samples: number; readonly cos: readonly number[]; readonly sin: readonly number[] };

const known = new WeakMap<Float64Array, readonly Stretch[]>();

/**
 * Standard uncertainty of a mean from what noise leaves of a signal's steps, in steps, at the upper end of what the moving signal
 * shows near the value; null where it does not move there, or shows no noise.
 */
export function ditherLeft(channel: RunChannel, value: number): number | null {
  const near = stretchesOf(channel).filter((s) => Math.abs(s.level - value) <= NEAR * Math.abs(value));
  if (near.length < LEAST_STRETCHES) return null;
  const [seen, told] = [seenLeft(near), toldLeft(near)];
  return seen === null || told === null ? null : Math.min(seen, told);
}

/**
 * By the scatter: the first harmonic of the error is (1/π)·exp(−2π²σ²/step²) at most with noise of variance σ² (Widrow and Kollár,
 * Quantization Noise, 2008, chapter 19), and nobody knows the place within the step (JCGM 101:2008, 6.4.6: an arcsine distribution).
 */
function toldLeft(near: readonly Stretch[]): number | null {
  const dof = near.reduce((sum, s) => sum + s.samples - FITTED, 0);
  // The median: a stretch with a bend in it shows too much.
  const middle = near.map((s) => s.variance).sort((a, b) => a - b)[near.length >> 1];
  const noise = middle * (1 - BOUND * Math.sqrt(2 / dof)) - 1 / 12;
  return noise > 0 ? Math.exp(-2 * Math.PI ** 2 * noise) / Math.PI / Math.SQRT2 : null;
}

/** By the errors themselves: half the power of the harmonics that they show, less what chance gives, and a bound for chance. */
function seenLeft(near: readonly Stretch[]): number {
  const n = near.reduce((sum, s) => sum + s.samples, 0);
  const variance = near.reduce((sum, s) => sum + s.samples * s.variance, 0) / n;
  let [power, spread] = [0, 0];
  for (const [k, harmonic] of HARMONICS.entries()) {
    // The course is known to variance·fitted/samples only, which blurs the place within a step.
    const left = near.reduce((sum, s) => sum + s.samples * Math.exp((-2 * (Math.PI * harmonic) ** 2 * FITTED * s.variance) / s.samples), 0) / n;
    if (left < LEAST_SEEN) return Infinity;
    const [a, b] = [near.reduce((sum, s) => sum + s.cos[k], 0), near.reduce((sum, s) => sum + s.sin[k], 0)].map((sum) => (2 * sum) / n / left);
    const chance = (2 * variance) / n / left ** 2;
    power += a * a + b * b - 2 * chance;
    spread += (2 * chance) ** 2;
  }
  return Math.sqrt((Math.max(0, power) + BOUND * Math.sqrt(spread)) / 2);
}

function stretchesOf(channel: RunChannel): readonly Stretch[] {
  const before = known.get(channel.value);
  if (before !== undefined) return before;
  const { t_s, value } = channel;
  const found: Stretch[] = [];
  let from = 0;
  let step = 0;
  for (let i = 0; i < value.length; i++) {
    const gap = i > 0 && t_s[i] - t_s[i - 1] > MOST_LOST * channel.period_s;
    if (gap || i - from > MOST_SAMPLES) from = gap ? i : from + (MOST_SAMPLES >> 1);
    if (i === from || gap) step = stepNear(channel, value[from]);
    const swept = value[i] - value[from];
    if (i - from < LEAST_SAMPLES || !(Math.abs(swept) >= SWEPT * step)) continue;
    // Steps grow with speed, so the larger one of a stretch's ends counts.
    step = Math.max(stepNear(channel, value[from]), stepNear(channel, value[i]));
    if (!(step > 0) || Math.abs(swept) < SWEPT * step) continue;
    const middle = (from + i) >> 1;
    if (Math.abs(value[middle] - value[from] - swept / 2) > HALF_WAY * Math.abs(swept)) {
      from = middle;
      step = stepNear(channel, value[from]);
      continue;
    }
    found.push(stretchOf(channel, from, i + 1, step));
    from = i + 1;
  }
  known.set(channel.value, found);
  return found;
}

/** Coefficients of a parabola. */
const FITTED = 3;

/** A stretch about its least-squares parabola in time. */
function stretchOf(channel: RunChannel, from: number, to: number, step: number): Stretch {
  const { t_s: t, value: y } = channel;
  const n = to - from;
  let [time, mean] = [0, 0];
  for (let i = from; i < to; i++) { time += t[i] / n; mean += y[i] / n; }
  const scale = 1 / (t[to - 1] - t[from]);
  let [m2, m3] = [0, 0];
  for (let i = from; i < to; i++) { const x = (t[i] - time) * scale; m2 += x * x; m3 += x * x * x; }
  // 1, x and q = x² − (m3/m2)·x − m2/n are orthogonal over the samples.
  const q = (x: number): number => x * x - (m3 / m2) * x - m2 / n;
  let [xy, qq, qy] = [0, 0, 0];
  for (let i = from; i < to; i++) {
    const x = (t[i] - time) * scale;
    xy += x * (y[i] - mean); qq += q(x) ** 2; qy += q(x) * (y[i] - mean);
  }
  let square = 0;
  const [cos, sin] = [HARMONICS.map(() => 0), HARMONICS.map(() => 0)];
  for (let i = from; i < to; i++) {
    const x = (t[i] - time) * scale;
    const course = mean + (xy / m2) * x + (qy / qq) * q(x);
    const error = (y[i] - course) / step;
    square += error * error;
    const place = 2 * Math.PI * placeAmong(channel, course);
    for (const [k, harmonic] of HARMONICS.entries()) { cos[k] += error * Math.cos(harmonic * place); sin[k] += error * Math.sin(harmonic * place); }
  }
  return { level: y[(from + to) >> 1], variance: square / (n - FITTED), samples: n, cos, sin };
}
