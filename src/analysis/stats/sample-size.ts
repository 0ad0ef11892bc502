/** How many repeats it takes: power of the two-sample comparisons, and the number that would settle a contrast. */
import { noncentralTCdf, tQuantile } from './quantiles';

/** Past this many repeats a setting the answer is "another way of measuring", not a number. */
export const MOST_REPEATS = 1000;

/**
 * Power of the two-sided two-sample t test with n repeats a side, from the noncentral t (both tails).
 * @param delta true difference, @param sd standard deviation of one repeat, in the same unit
 * @param dof degrees of freedom of the spread; 2(n − 1) unless pooled over more settings
 */
export function powerOfT(n: number, delta: number, sd: number, level = 0.05, dof = 2 * (n - 1)): number {
  if (!(dof > 0)) return 0;
  const ncp = Math.abs(delta) / (sd * Math.sqrt(2 / n));
  const t = tQuantile(1 - level / 2, dof);
  return clamp(1 - noncentralTCdf(t, dof, ncp) + noncentralTCdf(-t, dof, ncp));
}

/**
 * Power of two one-sided tests with n repeats a side against ±margin, at the true difference `delta`.
 * Approximation by two noncentral t distributions (Julious, Statistics in Medicine 23 (2004) 1921); it is exact enough
 * when the answer is above one half, which is where it is used.
 */
export function powerOfTost(n: number, delta: number, sd: number, margin: number, level = 0.05, dof = 2 * (n - 1)): number {
  if (!(dof > 0)) return 0;
  const u = sd * Math.sqrt(2 / n);
  const t = tQuantile(1 - level, dof);
  return clamp(noncentralTCdf(-t, dof, (delta - margin) / u) - noncentralTCdf(t, dof, (delta + margin) / u));
}

const clamp = (p: number): number => (Number.isFinite(p) ? Math.min(1, Math.max(0, p)) : 0);

/** What `repeatsToSettle` is asked. */
export type SettleQuestion = {
  /** Observed difference; taken as the true one. */
  readonly difference: number;
  /** Standard deviation of one repeat. */
  readonly sd: number;
  /** Largest difference that does not matter, or null when none is stated. */
  readonly margin: number | null;
  /** Repeats a setting so far. */
  readonly now: number;
  /** Level of the family of comparisons (1 − confidence); 5 % unless given. */
  readonly level?: number;
  /** Comparisons in the family: the level of the difference test is divided by it (Bonferroni, on the safe side). */
  readonly comparisons?: number;
  /** Settings that share the spread; its degrees of freedom grow as settings·(n − 1). 2 unless given. */
  readonly settings?: number;
  /** Chance of settling that is aimed for; 80 % unless given. */
  readonly power?: number;
};

/** The repeats a setting that would settle a contrast, or null with the reason. */
export type SettleAnswer = { readonly total: number | null; readonly more: number | null; readonly as: 'difference' | 'equivalence' | null; readonly reason: string | null };

/**
 * The least repeats a setting at which the contrast would be settled with the wanted power, as a difference or as no
 * difference beyond the margin, whichever needs fewer, were the observed difference and spread the true ones.
 */
export function repeatsToSettle(q: SettleQuestion): SettleAnswer {
  const { difference, sd, margin, now, level = 0.05, comparisons = 1, settings = 2, power = 0.8 } = q;
  if (!(Number.isFinite(sd) && Number.isFinite(difference))) throw new RangeError(`difference ${difference} and sd ${sd} must be finite`);
  if (!(sd > 0)) return { total: null, more: null, as: null, reason: 'no spread is known' };
  const dofAt = (n: number): number => settings * (n - 1);
  const first = Math.max(2, now + 1);
  const asDifference = least(first, (n) => powerOfT(n, difference, sd, level / comparisons, dofAt(n)) >= power);
  const asEquivalence = margin !== null && margin > 0 && Math.abs(difference) < margin
    ? least(first, (n) => powerOfTost(n, difference, sd, margin, level, dofAt(n)) >= power) : null;
  if (asDifference === null && asEquivalence === null) {
    return {
      total: null, more: null, as: null,
      reason: margin === null ? 'no margin is stated, and the difference is too small for its spread'
        : `more than ${MOST_REPEATS} repeats: the difference lies too near the margin or the spread is too wide`,
    };
  }
  const equivalenceWins = asDifference === null || (asEquivalence !== null && asEquivalence <= asDifference);
  const total = equivalenceWins ? asEquivalence : asDifference;
  return { total, more: total === null ? null : total - now, as: equivalenceWins ? 'equivalence' : 'difference', reason: null };
}

/** Smallest n in first..MOST_REPEATS that is enough, by doubling and halving (power grows with n). */
function least(first: number, enough: (n: number) => boolean): number | null {
  if (first > MOST_REPEATS) return null;
  let high = first;
  while (!enough(high)) {
    if (high === MOST_REPEATS) return null;
    high = Math.min(MOST_REPEATS, high * 2);
  }
  let low = first - 1;
  while (high - low > 1) {
    const middle = Math.floor((low + high) / 2);
    if (enough(middle)) high = middle; else low = middle;
  }
  return high;
}
