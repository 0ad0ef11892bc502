/**
 * Coverage factors where one error has a bound. Two standard uncertainties of a rectangle reach beyond its ends, so an interval of
 * ± t·u holds always instead of in 95 of 100 cases. Here the rectangle is folded with a scaled t for the rest (JCGM 101:2008, 9.2.4 and
 * Table 4, has the published example of one dominating rectangle).
 */
import tPdf from '@stdlib/stats-base-dists-t-pdf';
import { requireProbability } from './check';
import { coverageFactor, normalCdf, tCdf } from './quantiles';

/** A rectangle with less of u² than this leaves the factor as it is to better than 1 %. */
const LEAST_SHARE = 0.2;
/** Above this many degrees of freedom the rest counts as normal. */
const NORMAL_FROM_DOF = 1e4;
/** At fewer the integral of the t distribution function does not exist, and the plain factor is used. */
const LEAST_DOF = 1.5;
/** Newton from the end of the rectangle needs five or six steps. */
const MOST_STEPS = 50;

/** Distribution function of the rest at x, and its integral from −∞ to x. */
function rest(x: number, dof: number): { readonly cdf: number; readonly integral: number } {
  if (dof >= NORMAL_FROM_DOF) {
    const cdf = normalCdf(x);
    return { cdf, integral: x * cdf + Math.exp((-x * x) / 2) / Math.sqrt(2 * Math.PI) };
  }
  const cdf = tCdf(x, dof);
  return { cdf, integral: x * cdf + ((dof + x * x) / (dof - 1)) * tPdf(x, dof) };
}

/**
 * Factor k of the interval value ± k·u.
 * @param share of u² that is due to the largest error with a bound, 0 to 1, taken as a rectangle
 * @param dof effective degrees of freedom of u; all belong to the rest, as a bound counts as known
 * @throws RangeError when the share is not from 0 to 1
 */
export function factorWithBound(confidence: number, dof: number, share: number): number {
  requireProbability(confidence, 'confidence');
  if (!(share >= 0 && share <= 1)) throw new RangeError(`a share of ${share}; 0 to 1 is accepted`);
  const plain = coverageFactor(confidence, dof);
  // The rest alone: its variance and, by Welch and Satterthwaite turned round, its degrees of freedom.
  const left = 1 - share;
  const restDof = dof * left * left;
  if (share < LEAST_SHARE) return plain;
  const end = Math.sqrt(3 * share);
  if (left < 1e-6) return confidence * end;
  if (restDof < LEAST_DOF) return plain;
  const u = Math.sqrt(left);
  // Newton on P(|error| ≤ k·u) = confidence: with x = (k ± end)/√left the probability is (√left/end)·(∫F(x₊) − ∫F(x₋)) − 1.
  let k = end;
  for (let i = 0; i < MOST_STEPS; i++) {
    const [far, near] = [rest((k + end) / u, restDof), rest((k - end) / u, restDof)];
    const step = (confidence + 1 - (u / end) * (far.integral - near.integral)) * (end / (far.cdf - near.cdf));
    k += step;
    if (Math.abs(step) < 1e-7) break;
  }
  return Math.min(plain, k);
}
