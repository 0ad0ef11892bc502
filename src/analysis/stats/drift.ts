/** Drift over a campaign, estimated from the baseline runs spread through it, and its removal. */
import { noResult, requireFinite, requireSameLength, type NoResult, type Numbers } from './check';
import { around, type Interval } from './interval';
import { solveLeastSquares } from './linalg';
import { quadraticForm } from './linefit';
import { coverageFactor, fUpperP } from './quantiles';
import { mean, quantile, sumOfSquares } from './summary';

/** The shape of a drift: a straight line, or a natural cubic spline that is straight beyond its outer knots. */
export type DriftShape = 'linear' | 'spline';

/** A fitted drift. It is 0 at `reference`, the mean time of the baseline runs. */
export type Drift = {
  readonly ok: true;
  readonly shape: DriftShape;
  readonly reference: number;
  readonly knots: readonly number[];
  /** Coefficients of the shape's terms, without the constant. */
  readonly coefficients: readonly number[];
  readonly covariance: readonly (readonly number[])[];
  /** Scatter of the baseline runs about the drift. */
  readonly residualSd: number;
  readonly dof: number;
  /** Largest minus smallest drift over the baseline runs' time. */
  readonly range: number;
  /** Drift from the first to the last baseline run, with interval. */
  readonly endToEnd: { readonly value: number; readonly u: number; readonly interval: Interval };
  /** Probability of so much drift by chance; null when the runs lie exactly on the curve. */
  readonly p: number | null;
};

/**
 * Fits drift to baseline runs.
 * @param time when each baseline run took place (any unit, e.g. hours or run number)
 * @param value the metric of each
 * @param shape `spline` needs six runs or more
 * @returns the drift, or the reason why it cannot be told from scatter
 */
export function fitDrift(time: Numbers, value: Numbers, shape: DriftShape = 'linear', confidence = 0.95): Drift | NoResult {
  requireSameLength(time, value, 'time and value');
  requireFinite(time, 'time');
  requireFinite(value, 'value');
  const n = time.length;
  const least = shape === 'linear' ? 3 : 6;
  if (n < least) return noResult(`${n} baseline runs cannot show a ${shape} drift; ${least} or more are needed`);
  const reference = mean(time);
  const knots = shape === 'spline' ? knotsOf(time) : [];
  const origin = terms(reference, reference, knots);
  const rows = Array.from(time, (t) => [1, ...terms(t, reference, knots).map((v, k) => v - origin[k])]);
  const fit = solveLeastSquares(rows, value);
  if (fit === null) return noResult('the baseline runs lie at too few different times to show a drift');
  const coefficients = fit.coefficients.slice(1);
  const dof = n - rows[0].length;
  const s2 = fit.rss / dof;
  const covariance = fit.unscaledCovariance.slice(1).map((row) => row.slice(1).map((v) => v * s2));
  const first = Math.min(...Array.from(time));
  const last = Math.max(...Array.from(time));
  const base = { reference, knots, coefficients, covariance };
  const end = driftBetween(base, [first], [last]);
  const along = Array.from({ length: 101 }, (_, i) => driftAt(base, first + ((last - first) * i) / 100));
  const explained = Math.max(0, sumOfSquares(value) - fit.rss) / coefficients.length;
  return {
    ok: true, shape, ...base, residualSd: Math.sqrt(s2), dof, range: Math.max(...along) - Math.min(...along),
    endToEnd: { ...end, interval: around(end.value, coverageFactor(confidence, dof) * end.u, confidence) },
    p: s2 > 0 ? fUpperP(explained / s2, coefficients.length, dof) : null,
  };
}

type Curve = Pick<Drift, 'reference' | 'knots' | 'coefficients' | 'covariance'>;

/** The drift at a time, relative to the reference time. */
export function driftAt(drift: Curve, time: number): number {
  const origin = terms(drift.reference, drift.reference, drift.knots);
  return terms(time, drift.reference, drift.knots).reduce((sum, v, k) => sum + drift.coefficients[k] * (v - origin[k]), 0);
}

/**
 * Mean drift over the times `to` minus mean drift over the times `from`, with standard uncertainty: what removal changes
 * in a contrast of two settings run at those times, and what it adds to the contrast's uncertainty.
 */
export function driftBetween(drift: Curve, from: Numbers, to: Numbers): { readonly value: number; readonly u: number } {
  const centre = (times: Numbers): number[] => {
    const all = Array.from(times, (t) => terms(t, drift.reference, drift.knots));
    return drift.coefficients.map((_, k) => mean(all.map((row) => row[k])));
  };
  const a = centre(from);
  const step = centre(to).map((v, k) => v - a[k]);
  return {
    value: step.reduce((sum, v, k) => sum + v * drift.coefficients[k], 0),
    u: Math.sqrt(Math.max(0, quadraticForm(drift.covariance, step))),
  };
}

/** Values with the drift taken out, as if all had been run at the reference time. */
export function removeDrift(drift: Curve, time: Numbers, value: Numbers): Float64Array {
  requireSameLength(time, value, 'time and value');
  return Float64Array.from(value, (v, i) => v - driftAt(drift, time[i]));
}

/** Four knots at the 5, 35, 65 and 95 % points (Harrell, Regression Modeling Strategies, table of knot positions). */
function knotsOf(time: Numbers): number[] {
  return [0.05, 0.35, 0.65, 0.95].map((p) => quantile(time, p) ?? 0);
}

/** Linear term and, with knots, the restricted-cubic terms, scaled to the time span. */
function terms(t: number, reference: number, knots: readonly number[]): number[] {
  if (knots.length === 0) return [t - reference];
  const last = knots.length - 1;
  const span = knots[last] - knots[0] || 1;
  const cube = (k: number): number => Math.max(0, (t - knots[k]) / span) ** 3;
  const tail = (knots[last] - knots[last - 1]) / span || 1;
  const bend = knots.slice(0, -2).map((knot, k) =>
    cube(k) - (cube(last - 1) * (knots[last] - knot)) / span / tail + (cube(last) * (knots[last - 1] - knot)) / span / tail);
  return [t - reference, ...bend];
}
