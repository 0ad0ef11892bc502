/** Summaries of one series: mean and spread without loss of digits, and how many independent values it is worth. */
import { requireFinite, requireProbability, type Numbers } from './check';

/** Mean and spread of a series. `null` with a reason where the number of values does not allow a figure. */
export type Summary = {
  readonly n: number;
  readonly mean: number | null;
  /** Sample standard deviation (n − 1). */
  readonly sd: number | null;
  /** sd/√n. */
  readonly standardError: number | null;
  readonly min: number | null;
  readonly max: number | null;
  readonly reason: string | null;
};

/**
 * Arithmetic mean, corrected by the mean residual so that a large common offset costs no digits.
 * @throws RangeError on an empty series or a value that is not finite
 */
export function mean(values: Numbers): number {
  const n = values.length;
  if (n === 0) throw new RangeError('the mean of no values does not exist');
  requireFinite(values, 'values');
  let sum = 0;
  for (let i = 0; i < n; i++) sum += values[i];
  const first = sum / n;
  let rest = 0;
  for (let i = 0; i < n; i++) rest += values[i] - first;
  return first + rest / n;
}

/**
 * Sum of squared deviations from the mean by the corrected two-pass algorithm
 * (Chan, Golub & LeVeque, The American Statistician 37 (1983) 242).
 */
export function sumOfSquares(values: Numbers, about: number = mean(values)): number {
  let squares = 0;
  let rest = 0;
  for (let i = 0; i < values.length; i++) {
    const d = values[i] - about;
    squares += d * d;
    rest += d;
  }
  return Math.max(0, squares - (rest * rest) / values.length);
}

/** Sample variance (n − 1), or null for fewer than two values. */
export const variance = (values: Numbers): number | null =>
  values.length < 2 ? null : sumOfSquares(values) / (values.length - 1);

/** Sample standard deviation (n − 1), or null for fewer than two values. */
export function sd(values: Numbers): number | null {
  const v = variance(values);
  return v === null ? null : Math.sqrt(v);
}

/** Summarises a series; zero and one value are answered with nulls and a reason. */
export function summarize(values: Numbers): Summary {
  const n = values.length;
  if (n === 0) return { n, mean: null, sd: null, standardError: null, min: null, max: null, reason: 'no values' };
  const centre = mean(values);
  let min = Infinity;
  let max = -Infinity;
  for (let i = 0; i < n; i++) {
    min = Math.min(min, values[i]);
    max = Math.max(max, values[i]);
  }
  const spread = sd(values);
  return {
    n, mean: centre, sd: spread, standardError: spread === null ? null : spread / Math.sqrt(n), min, max,
    reason: spread === null ? 'one value has no spread' : null,
  };
}

/** Quantile by linear interpolation between order statistics (Hyndman & Fan 1996, type 7); null for no values. */
export function quantile(values: Numbers, p: number): number | null {
  if (p !== 0 && p !== 1) requireProbability(p, 'probability');
  if (values.length === 0) return null;
  requireFinite(values, 'values');
  const sorted = Float64Array.from(values).sort();
  const at = p * (sorted.length - 1);
  const low = Math.floor(at);
  const high = Math.min(sorted.length - 1, low + 1);
  return sorted[low] + (at - low) * (sorted[high] - sorted[low]);
}

/** The middle value; null for no values. */
export const median = (values: Numbers): number | null => quantile(values, 0.5);

/**
 * Autocorrelation coefficients at lags 0..maxLag, normalised by the full sum of squares (the definition of the
 * NIST/SEMATECH e-Handbook, 1.3.5.12). `null` when the series has no spread.
 */
export function autocorrelation(values: Numbers, maxLag: number): Float64Array | null {
  const n = values.length;
  if (n < 2) return null;
  const centre = mean(values);
  let total = 0;
  for (let i = 0; i < n; i++) total += (values[i] - centre) ** 2;
  if (!(total > 0)) return null;
  const lags = Math.min(maxLag, n - 1);
  const r = new Float64Array(lags + 1);
  for (let lag = 0; lag <= lags; lag++) {
    let sum = 0;
    for (let i = 0; i + lag < n; i++) sum += (values[i] - centre) * (values[i + lag] - centre);
    r[lag] = sum / total;
  }
  return r;
}

/**
 * How many independent values the mean of an autocorrelated series is worth: n / (1 + 2 Σ r_k), the sum ended by the
 * initial-positive-sequence rule (Geyer, Statistical Science 7 (1992) 473). Between 1 and n; null without spread.
 * It describes one run's plateau. It never turns samples into repeats.
 */
export function effectiveSampleSize(values: Numbers): number | null {
  const n = values.length;
  if (n < 4) return null;
  const r = autocorrelation(values, Math.min(n - 1, 2000));
  if (r === null) return null;
  let sum = -1;
  for (let lag = 0; lag + 1 < r.length; lag += 2) {
    const pair = r[lag] + r[lag + 1];
    if (pair <= 0) break;
    sum += 2 * pair;
  }
  return Math.min(n, Math.max(1, n / Math.max(sum, 1 / n)));
}
