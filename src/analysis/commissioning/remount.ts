/** Repeatability study: how much of the scatter comes with a new mounting, how much is there without one. */
import { noResult, type NoResult } from '../stats/check';
import { randomEffects } from '../stats/anova';
import { chi2Quantile } from '../stats/quantiles';

/** A mean this near to zero, in its standard uncertainties, is none. */
const FROM_ZERO = 2;

export interface RemountSplit {
  readonly ok: true;
  readonly mounts: number;
  readonly mean: number;
  /** Standard deviation between mountings and within one, relative to the mean. */
  readonly between: number;
  readonly within: number;
  /** Upper 95 % bound of the standard deviation of mounting means, relative: what few mountings cannot rule out. */
  readonly at_most: number;
  readonly flags: readonly string[];
}

/**
 * Splits the variance of a quantity into between and within mountings (one-way random effects; JCGM 100:2008, H.5).
 * @param groups repeats of each mounting, in SI
 * @returns the split, or why there is none (one mounting, one repeat each, a mean of zero)
 */
export function remountSplit(groups: readonly (readonly number[])[]): RemountSplit | NoResult {
  const split = randomEffects(groups);
  if (!split.ok) return split;
  if (Math.abs(split.mean) <= FROM_ZERO * split.u) return noResult('the mean cannot be told from zero: nothing is relative to it');
  const scale = Math.abs(split.mean);
  // The variance of the mounting means has k − 1 degrees of freedom: its upper bound divides by the 5 % point of χ².
  const ofMeans = split.u * Math.sqrt(groups.length);
  return {
    ok: true, mounts: groups.length, mean: split.mean, between: split.betweenSd / scale, within: split.withinSd / scale,
    at_most: (ofMeans * Math.sqrt(split.betweenDof / chi2Quantile(0.05, split.betweenDof))) / scale, flags: split.flags,
  };
}
