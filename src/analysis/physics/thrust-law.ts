/** Thrust over speed with the zero of the load cell free. */
import { fitNonlinear, type NonlinearOptions } from '../stats/nonlinear';
import { around, type Interval } from '../stats/interval';
import { noResult, type NoResult, type Numbers } from '../stats/check';
import { coverageFactor } from '../stats/quantiles';

/** thrust = zero + k·(rpm/reference)^exponent. */
export type LawAboveZero = {
  readonly ok: true;
  readonly zero_N: number;
  readonly exponent: number;
  readonly uExponent: number;
  readonly exponentInterval: Interval;
  /** `holds`: the exponent's interval lies within 2 ± tolerance. `fails`: outside. `too coarse`: the stand cannot say. */
  readonly square: 'holds' | 'fails' | 'too coarse';
  readonly text: string;
};

/** Exponents that make physical sense for a propeller, with much room. */
const EXPONENTS = [0.3, 8] as const;
/** Newton in the exponent needs four or five steps from 2. */
const MOST_STEPS = 20;

/** Zero, factor and exponent of the least squares, with the standard error of the exponent. */
type Solved = { readonly zero: number; readonly k: number; readonly exponent: number; readonly uExponent: number; readonly dof: number };

/**
 * The least squares themselves: for each exponent, zero and factor follow from a straight line, so that only the exponent is searched
 * for (variable projection: Golub & Pereyra, SIAM J. Numer. Anal. 10 (1973) 413). Gauss–Newton with exact derivatives, one pass over
 * the points a step. Its standard error is that of the linearised model (Seber & Wild, Nonlinear Regression, 1989, sec. 2.1.2): what
 * is left of the column of the exponent once the others are taken out. Null where that leads nowhere.
 */
function solve(z: Float64Array, y: Numbers): Solved | null {
  const n = z.length;
  const logs = z.map((v) => Math.log(v));
  let exponent = 2;
  for (let round = 0; round < MOST_STEPS; round++) {
    // Columns of the Jacobian: 1, p = z^exponent, q = p·ln z; each about its mean, which takes the zero out.
    let [p0, q0, y0, pp, pq, qq, py, qy, yy] = [0, 0, 0, 0, 0, 0, 0, 0, 0];
    for (let i = 0; i < n; i++) {
      const p = Math.exp(exponent * logs[i]);
      const q = p * logs[i];
      p0 += p;
      q0 += q;
      y0 += y[i];
      pp += p * p;
      pq += p * q;
      qq += q * q;
      py += p * y[i];
      qy += q * y[i];
      yy += y[i] * y[i];
    }
    [pp, pq, qq, py, qy, yy] = [pp - (p0 * p0) / n, pq - (p0 * q0) / n, qq - (q0 * q0) / n, py - (p0 * y0) / n, qy - (q0 * y0) / n, yy - (y0 * y0) / n];
    const det = pp * qq - pq * pq;
    // The coefficient of q is k times the step of the exponent, for the k of a line at this exponent.
    const k = py / pp;
    const move = (pp * qy - pq * py) / det / k;
    if (!Number.isFinite(move)) return null;
    if (Math.abs(move) < 1e-11) {
      const zero = (y0 - k * p0) / n;
      let residual = 0;
      for (let i = 0; i < n; i++) residual += (y[i] - zero - k * Math.exp(exponent * logs[i])) ** 2;
      const dof = n - 3;
      return residual < yy ? { zero, k, exponent, uExponent: Math.sqrt((residual / dof) * (pp / det)) / Math.abs(k), dof } : null;
    }
    exponent += Math.sign(move) * Math.min(Math.abs(move), 1);
    if (!(exponent > EXPONENTS[0] && exponent < EXPONENTS[1])) return null;
  }
  return null;
}

/**
 * Fits zero, factor and exponent by least squares in thrust: an offset of the load cell, which a straight line in logarithms would
 * take for another exponent, is found along with it.
 * @param speed_rpm,thrust_N points over a wide range of speed, all speeds above 0
 * @param tolerance how far from 2 still counts as "∝ rpm²"
 */
export function fitLawAboveZero(speed_rpm: Numbers, thrust_N: Numbers, tolerance = 0.1, confidence = 0.95): LawAboveZero | NoResult {
  const n = speed_rpm.length;
  if (n < 5) return noResult(`${n} points cannot show zero, factor and exponent with an uncertainty; 5 or more are needed`);
  const top = Math.max(...Array.from(speed_rpm));
  const most = Math.max(...Array.from(thrust_N));
  if (!(most > 0)) return noResult('no thrust was measured');
  const z = Float64Array.from(speed_rpm, (v) => v / top);
  const [lower, upper] = [[-most, 0.01 * most, EXPONENTS[0]], [most, 100 * most, EXPONENTS[1]]];
  const near = solve(z, thrust_N);
  const inside = near !== null && [near.zero, near.k, near.exponent].every((v, i) => v > lower[i] && v < upper[i]);
  const found = inside ? near : searched(z, thrust_N, { start: [0, most, 2], lower, upper });
  if ('reason' in found) return found;
  const { zero: zero_N, exponent, uExponent } = found;
  const half = coverageFactor(confidence, found.dof) * uExponent;
  const off = Math.abs(exponent - 2);
  const square = off + half <= tolerance ? 'holds' : off - half > tolerance ? 'fails' : 'too coarse';
  const figures = `exponent ${exponent.toFixed(3)} ± ${half.toFixed(3)}`;
  return {
    ok: true, zero_N, exponent, uExponent, exponentInterval: around(exponent, half, confidence), square,
    text: square === 'holds' ? `thrust follows rpm² (${figures})`
      : square === 'fails' ? `thrust does not follow rpm² here (${figures})`
        : `this stand is too coarse to tell whether thrust follows rpm² (${figures}); take thrust as relative`,
  };
}

/** The checked search, for points from which the short way leads nowhere: it finds them, or says why there is nothing to find. */
function searched(z: Float64Array, thrust_N: Numbers, options: Pick<NonlinearOptions, 'start' | 'lower' | 'upper'>): Solved | NoResult {
  const fit = fitNonlinear(z, thrust_N, ([zero, k, exponent]) => (x) => zero + k * x ** exponent, options);
  if (!fit.ok) return noResult(`no power of speed describes thrust: ${fit.reason}`);
  if (fit.standardErrors === null) return noResult('no points are left to judge the fit by');
  const [zero, k, exponent] = fit.parameters;
  return { zero, k, exponent, uExponent: fit.standardErrors[2], dof: fit.dof };
}
