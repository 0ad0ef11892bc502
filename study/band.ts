/** How far a count of successes may lie from what it should be. */
import { logGamma } from './log-gamma';

/** P(X ≤ k) of a binomial count. */
export function binomialCdf(k: number, n: number, p: number): number {
  let sum = 0;
  for (let i = 0; i <= k; i++) sum += Math.exp(logGamma(n + 1) - logGamma(i + 1) - logGamma(n - i + 1) + i * Math.log(p) + (n - i) * Math.log1p(-p));
  return Math.min(1, sum);
}

/**
 * Counts out of `n` that a true share `p` gives with all but probability `level/family` on both sides together: the family of
 * that many independent figures then stays inside with probability 1 − `level` or more (Bonferroni). Exact binomial tails,
 * half on each side; where not even all successes are that improbable, the band is open above.
 */
export function familyBand(n: number, p: number, family: number, level = 0.05): { readonly low: number; readonly high: number } {
  if (p >= 1) return { low: n, high: n };
  const tail = level / family / 2;
  let low = 0;
  while (low < n && binomialCdf(low, n, p) <= tail) low++;
  let high = n;
  while (high > 0 && 1 - binomialCdf(high - 1, n, p) <= tail) high--;
  return { low, high };
}
