/** State levels of a two-state signal and instants at which it crosses a level, as IEEE Std 181 defines them. */
import type { Numbers } from '../stats/check';
import { noResult, requireFinite, type NoResult } from '../stats/check';

/** Low and high state level. */
export type StateLevels = { readonly ok: true; readonly low: number; readonly high: number };

/** How a level is taken from its half of the histogram. */
export type LevelMethod = 'mode' | 'mean';

/**
 * State levels by the histogram method: amplitudes from minimum to maximum in equal bins, split into a lower and an upper
 * half, and the most populated bin of each (`mode`, its centre) or the mean of the values in each half (`mean`).
 * @param bins 100 unless given; the mode is quantised to their width, so the mean of the values inside the winning bin is used
 */
export function stateLevels(y: Numbers, bins = 100, method: LevelMethod = 'mode'): StateLevels | NoResult {
  requireFinite(y, 'y');
  if (!(Number.isInteger(bins) && bins >= 2)) throw new RangeError(`the histogram needs 2 or more bins, got ${bins}`);
  if (y.length < 4) return noResult(`${y.length} samples have no state levels`);
  let min = Infinity;
  let max = -Infinity;
  for (let i = 0; i < y.length; i++) {
    if (y[i] < min) min = y[i];
    if (y[i] > max) max = y[i];
  }
  if (min === max) return noResult('the signal never changes, so it has one level');
  const count = new Float64Array(bins);
  const sum = new Float64Array(bins);
  for (let i = 0; i < y.length; i++) {
    const bin = Math.min(bins - 1, Math.floor(((y[i] - min) / (max - min)) * bins));
    count[bin]++;
    sum[bin] += y[i];
  }
  const half = Math.floor(bins / 2);
  return method === 'mode'
    ? { ok: true, low: modeOf(count, sum, 0, half), high: modeOf(count, sum, half, bins) }
    : { ok: true, low: meanOf(count, sum, 0, half), high: meanOf(count, sum, half, bins) };
}

function modeOf(count: Float64Array, sum: Float64Array, from: number, to: number): number {
  let best = from;
  for (let i = from; i < to; i++) if (count[i] > count[best]) best = i;
  return sum[best] / count[best];
}

function meanOf(count: Float64Array, sum: Float64Array, from: number, to: number): number {
  let n = 0;
  let total = 0;
  for (let i = from; i < to; i++) {
    n += count[i];
    total += sum[i];
  }
  return total / n;
}

/**
 * Time of the first crossing of a level at or after index `from`, by linear interpolation between the samples around it.
 * @param rising direction of the crossing
 * @returns the time and the index of the sample at or past the level, or null when there is none
 */
export function firstCrossing(t: Numbers, y: Numbers, level: number, rising: boolean, from = 0): { readonly time: number; readonly index: number } | null {
  for (let i = Math.max(1, from); i < y.length; i++) {
    if (crosses(y[i - 1], y[i], level, rising)) return { time: interpolate(t, y, level, i), index: i };
  }
  return null;
}

/** Time of the last crossing before index `before` (that sample included). */
export function lastCrossing(t: Numbers, y: Numbers, level: number, rising: boolean, before: number): { readonly time: number; readonly index: number } | null {
  for (let i = Math.min(before, y.length - 1); i >= 1; i--) {
    if (crosses(y[i - 1], y[i], level, rising)) return { time: interpolate(t, y, level, i), index: i };
  }
  return null;
}

const crosses = (a: number, b: number, level: number, rising: boolean): boolean =>
  rising ? a < level && b >= level : a > level && b <= level;

const interpolate = (t: Numbers, y: Numbers, level: number, i: number): number =>
  t[i - 1] + ((level - y[i - 1]) / (y[i] - y[i - 1])) * (t[i] - t[i - 1]);
