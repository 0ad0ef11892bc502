/**
 * Calibration of a channel against a reference: a straight line or a parabola through the points, what is left over, and how
 * uncertain a reading is after it (JCGM 100:2008, 4.2 and Annex H.3). Applied values are regressed on counts: what scatters
 * is thousandths of the span, so that the choice of direction changes nothing that can be seen.
 */
import { noResult, type NoResult } from '../stats/check';
import { evaluateFit, fitPolynomial, quadraticForm, type PolynomialFit } from '../stats/linefit';

export type Direction = 'up' | 'down';

/** One point: what the reference says, SI, and the mean counts. */
export type CalibrationPoint = { readonly applied: number; readonly counts: number; readonly direction: Direction };

export type LawFit = {
  readonly ok: true;
  readonly degree: 1 | 2;
  /** Counts that x is taken from. */
  readonly zero: number;
  /** applied = c0 + c1·x + c2·x² with x = counts − zero; c2 is 0 for a line. */
  readonly c0: number;
  readonly c1: number;
  readonly c2: number;
  /** Applied less what the law gives, in the order of the points. */
  readonly residuals: readonly number[];
  /** Residual standard deviation with `dof` degrees of freedom. */
  readonly residualSd: number;
  readonly dof: number;
  readonly fit: PolynomialFit;
};

/** Fewest points beyond the coefficients: below two the scatter is a guess. */
const SPARE_POINTS = 2;

/**
 * @param zero counts that the law is centred on, such as the mean counts at zero load
 * @returns the law, or the reason why there is none
 */
export function fitLaw(points: readonly CalibrationPoint[], degree: 1 | 2, zero: number): LawFit | NoResult {
  const need = degree + 1 + SPARE_POINTS;
  if (points.length < need) return noResult(`${points.length} points; a ${degree === 1 ? 'line' : 'parabola'} with an honest uncertainty needs ${need} at least`);
  const x = points.map((p) => p.counts - zero);
  const fit = fitPolynomial(x, points.map((p) => p.applied), { degree });
  if (!fit.ok) return fit;
  const [c0 = 0, c1 = 0, c2 = 0] = fit.coefficients;
  const span = Math.max(...points.map((p) => p.applied)) - Math.min(...points.map((p) => p.applied));
  const sd = fit.residualSd ?? 0;
  if (!(span > 0)) return noResult('every point was taken at the same applied value');
  return { ok: true, degree, zero, c0, c1, c2, residuals: points.map((p, i) => p.applied - evaluateFit(fit, x[i])), residualSd: sd, dof: fit.residualDof, fit };
}

/** A channel whose slope is known no better than this is not calibrated but broken. Rule of ours. */
const SLOPE_WITHIN = 0.05;

/** Why the counts cannot be said to follow what was applied; null when they do. */
export function slopeProblem(law: LawFit): string | null {
  const u = law.fit.standardErrors?.[1] ?? Infinity;
  if (u <= SLOPE_WITHIN * Math.abs(law.c1)) return null;
  return `the counts hardly follow what was applied: slope ${law.c1.toPrecision(3)} ± ${u.toPrecision(2)} a count`;
}

/** Value of the law at these counts, and its standard uncertainty from the fit alone (the curve, not a further reading). */
export function predictLaw(law: LawFit, counts: number): { readonly value: number; readonly u: number } {
  const x = counts - law.zero;
  const powers = law.fit.coefficients.map((_, k) => x ** k);
  return { value: evaluateFit(law.fit, x), u: Math.sqrt(Math.max(0, law.fit.covariance === null ? 0 : quadraticForm(law.fit.covariance, powers))) };
}

/** As {@link predictLaw} for the change since zero counts: what is left when every run takes its own zero. */
export function predictChange(law: LawFit, counts: number): { readonly value: number; readonly u: number } {
  const x = counts - law.zero;
  const powers = law.fit.coefficients.map((_, k) => (k === 0 ? 0 : x ** k));
  return { value: evaluateFit(law.fit, x) - law.c0, u: Math.sqrt(Math.max(0, law.fit.covariance === null ? 0 : quadraticForm(law.fit.covariance, powers))) };
}

/** Whether a parabola is worth it: its curvature against that curvature's standard uncertainty. */
export function curvature(points: readonly CalibrationPoint[], zero: number): { readonly ratio: number } | NoResult {
  const law = fitLaw(points, 2, zero);
  if (!law.ok) return law;
  const u = law.fit.standardErrors?.[2] ?? Infinity;
  return { ratio: u > 0 ? Math.abs(law.c2) / u : Infinity };
}

/**
 * Largest difference between rising and falling at the same applied value (to within `same`), as the law reads it; null when
 * nothing was taken both ways.
 */
export function hysteresisOf(law: LawFit, points: readonly CalibrationPoint[], same: number): number | null {
  const reading = (p: CalibrationPoint): number => predictLaw(law, p.counts).value - p.applied;
  let largest: number | null = null;
  for (const up of points) {
    if (up.direction !== 'up') continue;
    for (const down of points) {
      if (down.direction !== 'down' || Math.abs(down.applied - up.applied) > same) continue;
      largest = Math.max(largest ?? 0, Math.abs(reading(down) - reading(up)));
    }
  }
  return largest;
}
