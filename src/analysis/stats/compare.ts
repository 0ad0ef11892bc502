/** Comparing two settings: difference with interval, and equivalence by two one-sided tests. Differences are b − a. */
import { noResult, requireFinite, requireSameLength, type NoResult, type Numbers } from './check';
import { around, type Interval } from './interval';
import { coverageFactor, tCdf, tTwoSidedP } from './quantiles';
import { mean, sumOfSquares, variance } from './summary';

/** A difference of means with what is needed to judge it. */
export type Difference = {
  readonly ok: true;
  /** Mean of b minus mean of a. */
  readonly difference: number;
  /** Standard uncertainty of the difference. */
  readonly u: number;
  readonly dof: number;
  /** difference/u; null when u is 0. */
  readonly t: number | null;
  readonly p: number | null;
  readonly interval: Interval;
  readonly method: string;
};

function difference(d: number, u: number, dof: number, confidence: number, method: string): Difference {
  const t = u > 0 ? d / u : null;
  return {
    ok: true, difference: d, u, dof, t, p: t === null ? null : tTwoSidedP(t, dof),
    interval: around(d, coverageFactor(confidence, dof) * u, confidence), method,
  };
}

/** Welch's unequal-variance comparison (Biometrika 34 (1947) 28). Fewer than two repeats a side: no result, with the reason. */
export function welch(a: Numbers, b: Numbers, confidence = 0.95): Difference | NoResult {
  requireFinite(a, 'a');
  requireFinite(b, 'b');
  const va = variance(a);
  const vb = variance(b);
  if (va === null || vb === null) return noResult(`two or more repeats a side are needed, got ${a.length} and ${b.length}`);
  const pa = va / a.length;
  const pb = vb / b.length;
  if (pa + pb === 0) return noResult('neither side scatters at all, so nothing can judge the difference; are these really separate repeats?');
  const dof = (pa + pb) ** 2 / (pa ** 2 / (a.length - 1) + pb ** 2 / (b.length - 1));
  return difference(mean(b) - mean(a), Math.sqrt(pa + pb), dof, confidence, 'Welch');
}

/** Comparison with one spread: pooled over the two sides, or handed in pooled over more settings. */
export function pooledT(a: Numbers, b: Numbers, confidence = 0.95, pooled?: { readonly sd: number; readonly dof: number }): Difference | NoResult {
  requireFinite(a, 'a');
  requireFinite(b, 'b');
  if (a.length === 0 || b.length === 0) return noResult('a side has no usable repeats');
  const dof = pooled?.dof ?? a.length + b.length - 2;
  if (dof < 1) return noResult('one repeat a side: nothing to judge the scatter by');
  const s2 = pooled === undefined ? (sumOfSquares(a) + sumOfSquares(b)) / dof : pooled.sd ** 2;
  if (s2 === 0) return noResult('no scatter at all, so nothing can judge the difference; are these really separate repeats?');
  return difference(mean(b) - mean(a), Math.sqrt(s2 * (1 / a.length + 1 / b.length)), dof, confidence, 'pooled t');
}

/** Comparison of pairs run in the same block. */
export function pairedT(a: Numbers, b: Numbers, confidence = 0.95): Difference | NoResult {
  requireSameLength(a, b, 'pairs');
  requireFinite(a, 'a');
  requireFinite(b, 'b');
  const d = Array.from(a, (v, i) => b[i] - v);
  const v = variance(d);
  if (v === null) return noResult(`two or more pairs are needed, got ${d.length}`);
  if (v === 0) return noResult('the paired differences do not scatter at all, so nothing can judge them');
  return difference(mean(d), Math.sqrt(v / d.length), d.length - 1, confidence, 'paired t');
}

/** Two one-sided tests against ±margin. */
export type Equivalence = {
  readonly equivalent: boolean;
  /** The larger of the two one-sided p values: the one that decides. */
  readonly p: number;
  readonly tLower: number;
  readonly tUpper: number;
  readonly pLower: number;
  readonly pUpper: number;
  /** The interval of confidence 1 − 2·level that says the same: equivalent when it lies within ±margin. */
  readonly interval: Interval;
};

/**
 * Equivalence by two one-sided tests (Schuirmann, J. Pharmacokinetics and Biopharmaceutics 15 (1987) 657).
 * @param of difference with standard uncertainty and degrees of freedom
 * @param margin largest difference that does not matter, in the metric's unit, greater than 0
 * @param level of each one-sided test
 */
export function tost(of: { readonly difference: number; readonly u: number; readonly dof: number }, margin: number, level = 0.05): Equivalence {
  if (!(margin > 0 && Number.isFinite(margin))) throw new RangeError(`the margin is ${margin}; equivalence needs a positive one`);
  if (!(of.u > 0)) throw new RangeError(`the standard uncertainty is ${of.u}; equivalence needs a positive one`);
  const tLower = (of.difference + margin) / of.u;
  const tUpper = (of.difference - margin) / of.u;
  const pLower = tCdf(-tLower, of.dof);
  const pUpper = tCdf(tUpper, of.dof);
  const p = Math.max(pLower, pUpper);
  return {
    equivalent: p < level, p, tLower, tUpper, pLower, pUpper,
    interval: around(of.difference, coverageFactor(1 - 2 * level, of.dof) * of.u, 1 - 2 * level),
  };
}
