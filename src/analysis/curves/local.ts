/**
 * A parabola through the points near a place: what a curve is there and how steep, without the pull that a smooth curve through the
 * whole range has on it (local regression: Cleveland, J. American Statistical Association 74 (1979) 829; here with equal weights).
 */
import { fitPolynomial } from '../stats/linefit';
import { requireSameLength, type Numbers } from '../stats/check';

/** Points of a curve in increasing order of x. */
export type Points = { readonly x: Numbers; readonly y: Numbers };

/** A parabola near a place. */
export type LocalFit = {
  readonly from: number;
  readonly to: number;
  readonly at: (x: number) => number;
  readonly slopeAt: (x: number) => number;
  /** Standard error of `at(x)` from the residuals: scatter and what no parabola describes. */
  readonly errorAt: (x: number) => number;
};

/** Fewest points that show a parabola and how well it fits. */
const LEAST = 6;

/** The last fit to each set of points: one place is asked for several times in a row. */
const last = new WeakMap<Points, { readonly centre: number; readonly halfWidth: number; readonly fit: LocalFit | null }>();

/**
 * The parabola through the points within ± `halfWidth` of `centre`; at the ends of the range the window moves inwards.
 * @param points never changed afterwards
 * @returns null when fewer than six points lie in the window
 */
export function localParabola(points: Points, centre: number, halfWidth: number): LocalFit | null {
  const before = last.get(points);
  if (before?.centre === centre && before.halfWidth === halfWidth) return before.fit;
  const fit = parabolaThrough(points, centre, halfWidth);
  last.set(points, { centre, halfWidth, fit });
  return fit;
}

function parabolaThrough({ x, y }: Points, centre: number, halfWidth: number): LocalFit | null {
  requireSameLength(x, y, 'x and y');
  const n = x.length;
  if (n < LEAST) return null;
  const middle = Math.min(Math.max(centre, x[0] + halfWidth), x[n - 1] - halfWidth);
  const near = Array.from({ length: n }, (_, i) => i).filter((i) => Math.abs(x[i] - middle) <= halfWidth);
  if (near.length < LEAST) return null;
  const fit = fitPolynomial(near.map((i) => x[i] - middle), near.map((i) => y[i]), { degree: 2 });
  if (!fit.ok) return null;
  const [a, b, c] = fit.coefficients;
  const { covariance } = fit;
  return {
    from: x[near[0]], to: x[near[near.length - 1]],
    at: (v) => a + (v - middle) * (b + (v - middle) * c),
    slopeAt: (v) => b + 2 * c * (v - middle),
    errorAt: (v) => {
      const powers = [1, v - middle, (v - middle) ** 2];
      return covariance === null ? 0 : Math.sqrt(Math.max(0, powers.reduce((s, p, i) => s + powers.reduce((t, q, j) => t + p * q * covariance[i][j], 0), 0)));
    },
  };
}

/** Where the parabola passes a value with a rising slope, inside its window; null where it does not. */
export function crossingOf(fit: LocalFit, value: number, near: number): number | null {
  let x = near;
  for (let k = 0; k < 50; k++) {
    const slope = fit.slopeAt(x);
    if (!(slope > 0)) return null;
    const next = x + (value - fit.at(x)) / slope;
    if (next === x || Math.abs(next - x) < 1e-12 * Math.max(1, Math.abs(x))) return next >= fit.from && next <= fit.to ? next : null;
    x = next;
  }
  return null;
}
