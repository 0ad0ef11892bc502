/**
 * Quantiles and probabilities of the reference distributions, typed and guarded.
 * t, F, chi-squared and normal come from stdlib; the studentized range and the noncentral t from their integrals.
 */
import chi2Cdf from '@stdlib/stats-base-dists-chisquare-cdf';
import chi2Inverse from '@stdlib/stats-base-dists-chisquare-quantile';
import fCdfRaw from '@stdlib/stats-base-dists-f-cdf';
import fInverse from '@stdlib/stats-base-dists-f-quantile';
import normalCdfRaw from '@stdlib/stats-base-dists-normal-cdf';
import normalInverse from '@stdlib/stats-base-dists-normal-quantile';
import tCdfRaw from '@stdlib/stats-base-dists-t-cdf';
import tInverse from '@stdlib/stats-base-dists-t-quantile';
import { requireDof, requireProbability } from './check';
import { overSpread } from './spread';
import { rangeQuantile, rangeUpperP } from './studentized-range';

/** Above this many degrees of freedom t and normal differ by less than 1e-8 of the quantile: the normal one is used. */
const NORMAL_FROM_DOF = 1e8;

/** Standard normal quantile at probability p. */
export function normalQuantile(p: number): number {
  requireProbability(p, 'probability');
  return normalInverse(p, 0, 1);
}

/** Standard normal distribution function at z. */
export const normalCdf = (z: number): number => normalCdfRaw(z, 0, 1);

/** Student t quantile at probability p; fractional degrees of freedom and Infinity are allowed. */
export function tQuantile(p: number, dof: number): number {
  requireProbability(p, 'probability');
  requireDof(dof);
  return dof >= NORMAL_FROM_DOF ? normalQuantile(p) : tInverse(p, dof);
}

/** Student t distribution function at t. */
export function tCdf(t: number, dof: number): number {
  requireDof(dof);
  return dof >= NORMAL_FROM_DOF ? normalCdf(t) : tCdfRaw(t, dof);
}

/** Probability of a t at least as far from zero as this one, on both sides. */
export const tTwoSidedP = (t: number, dof: number): number => Math.min(1, 2 * tCdf(-Math.abs(t), dof));

/** Half-width factor of a two-sided interval: `coverageFactor(0.95, 10)` is 2.228. */
export function coverageFactor(confidence: number, dof: number): number {
  requireProbability(confidence, 'confidence');
  return tQuantile(0.5 + confidence / 2, dof);
}

/** F quantile with d1 (numerator) and d2 (denominator) degrees of freedom. */
export function fQuantile(p: number, d1: number, d2: number): number {
  requireProbability(p, 'probability');
  requireDof(d1, 'numerator degrees of freedom');
  requireDof(d2, 'denominator degrees of freedom');
  return fInverse(p, d1, d2);
}

/** Probability of an F of at least f; taken from the swapped tail, so that it stays exact when small. */
export function fUpperP(f: number, d1: number, d2: number): number {
  requireDof(d1, 'numerator degrees of freedom');
  requireDof(d2, 'denominator degrees of freedom');
  return f <= 0 ? 1 : f === Infinity ? 0 : fCdfRaw(1 / f, d2, d1);
}

/** Chi-squared quantile at probability p. */
export function chi2Quantile(p: number, dof: number): number {
  requireProbability(p, 'probability');
  requireDof(dof);
  return chi2Inverse(p, dof);
}

/** Probability of a chi-squared of at least x. */
export function chi2UpperP(x: number, dof: number): number {
  requireDof(dof);
  return x <= 0 ? 1 : Math.max(0, 1 - chi2Cdf(x, dof));
}

const rangeQuantiles = new Map<string, number>();

/**
 * Quantile of the studentized range: of the range of `groups` normal means over an independent sd with `dof`
 * degrees of freedom. Results are remembered (the function stays pure: same arguments, same answer).
 */
export function studentizedRangeQuantile(p: number, groups: number, dof: number): number {
  requireProbability(p, 'probability');
  requireRange(groups, dof);
  const key = `${p}/${groups}/${dof}`;
  let q = rangeQuantiles.get(key);
  if (q === undefined) {
    q = rangeQuantile(p, groups, dof);
    if (rangeQuantiles.size > 20_000) rangeQuantiles.clear();
    rangeQuantiles.set(key, q);
  }
  return q;
}

/** Probability of a studentized range of at least q. */
export function studentizedRangeUpperP(q: number, groups: number, dof: number): number {
  requireRange(groups, dof);
  return q <= 0 ? 1 : rangeUpperP(q, groups, dof);
}

function requireRange(groups: number, dof: number): void {
  if (!Number.isInteger(groups) || groups < 2) throw new RangeError(`a studentized range needs 2 or more groups, got ${groups}`);
  if (!(dof >= 2)) throw new RangeError(`a studentized range needs 2 or more degrees of freedom, got ${dof}`);
}

/**
 * Distribution function of the noncentral t with noncentrality `ncp`: T = (Z + ncp)/s with s = χ_ν/√ν, so that
 * P(T ≤ t) is the average of Φ(t·s − ncp) over s (Johnson & Welch, Biometrika 31 (1940) 362).
 */
export function noncentralTCdf(t: number, dof: number, ncp: number): number {
  requireDof(dof);
  return Math.min(1, Math.max(0, overSpread(dof, (s) => normalCdf(t * s - ncp), 1 + Math.ceil(Math.abs(t) / 4))));
}
