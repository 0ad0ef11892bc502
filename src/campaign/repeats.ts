// How many repeats a margin needs, from the spread of earlier campaigns.

/** Distributions, handed in so that this folder needs no statistics. */
export interface Distributions {
  /** Quantile of Student's t: probability in 0..1, degrees of freedom > 0. */
  readonly tQuantile: (probability: number, df: number) => number;
  /** Distribution function of the noncentral t. */
  readonly noncentralTCdf: (t: number, df: number, noncentrality: number) => number;
}
/** Quantile of chi-square: probability in 0..1, degrees of freedom > 0. */
export type ChiSquareQuantile = (probability: number, df: number) => number;

export interface RepeatsQuestion {
  /** Standard deviation of one repeat inside a mounting, and the margin, in the same unit (or both relative). */
  readonly sd: number;
  readonly margin: number;
  /** `difference`: show that two settings that differ by the margin differ. `equivalence`: show that two equal ones do not differ by it. */
  readonly goal: 'difference' | 'equivalence';
  /** Chance of a wrong claim over the family of comparisons, e.g. 0.05. */
  readonly alpha: number;
  /** Chance that the campaign settles it, e.g. 0.8. */
  readonly power: number;
  /** Settings whose spread is pooled, ≥ 2, and comparisons that share alpha (Bonferroni), ≥ 1. */
  readonly settings: number;
  readonly comparisons: number;
}

export type RepeatsAnswer =
  | { readonly ok: true; readonly repeats: number; /** Half width of one comparison's interval with that many. */ readonly half_width: number }
  | { readonly ok: false; readonly why: string };

export const MOST_REPEATS = 1000;

/**
 * Chance that n repeats of each setting settle a comparison, for normal repeats of equal spread pooled over the settings
 * (ν = settings · (n − 1) degrees of freedom), with δ = margin/(sd · √(2/n)) and F the noncentral t.
 * Difference (settings that differ by the margin): 1 − F(t(1−α/2, ν); ν, δ), the two-sided t test.
 * Equivalence (settings that are equal): at least 1 − 2 F(t(1−α, ν); ν, δ), by two one-sided tests; never more than the truth.
 * Source: Chow, Shao and Wang, Sample Size Calculations in Clinical Research, sections 3.2.1 and 3.2.3 (from memory).
 */
export function chanceToSettle(q: Omit<RepeatsQuestion, 'power'>, repeats: number, from: Distributions): number {
  const df = q.settings * (repeats - 1);
  const shift = q.sd === 0 ? Infinity : q.margin / (q.sd * Math.sqrt(2 / repeats));
  // Beyond this the chance is 1 to all digits, and the noncentral t needs not be asked.
  if (shift > 35 + claimAt(q, df, from)) return 1;
  const missed = from.noncentralTCdf(claimAt(q, df, from), df, shift);
  return Math.max(0, q.goal === 'difference' ? 1 - missed : 1 - 2 * missed);
}

function claimAt(q: Omit<RepeatsQuestion, 'power'>, df: number, from: Distributions): number {
  const share = q.alpha / q.comparisons;
  return from.tQuantile(q.goal === 'difference' ? 1 - share / 2 : 1 - share, df);
}

/** The least number of repeats of each setting with the asked chance to settle it; the chance grows with the repeats. */
export function repeatsNeeded(q: RepeatsQuestion, from: Distributions): RepeatsAnswer {
  const problem = problemOf(q);
  if (problem !== null) return { ok: false, why: problem };
  const enough = (n: number): boolean => chanceToSettle(q, n, from) >= q.power;
  let low = 1;
  let high = 2;
  while (!enough(high)) {
    if (high === MOST_REPEATS) {
      return { ok: false, why: `More than ${MOST_REPEATS} repeats would be needed: the spread of one repeat (${q.sd}) is too large against the margin (${q.margin}). Improve the rig or widen the margin.` };
    }
    low = high;
    high = Math.min(2 * high, MOST_REPEATS);
  }
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (enough(middle)) high = middle;
    else low = middle;
  }
  return { ok: true, repeats: high, half_width: claimAt(q, q.settings * (high - 1), from) * q.sd * Math.sqrt(2 / high) };
}

/** Smallest margin that so many repeats settle, to four digits; null for fewer than two repeats or a question without sense. */
export function marginReached(q: Omit<RepeatsQuestion, 'margin'>, repeats: number, from: Distributions): number | null {
  if (repeats < 2 || problemOf({ ...q, margin: 1 }) !== null) return null;
  if (q.sd === 0) return 0;
  let low = 0;
  let high = q.sd;
  while (chanceToSettle({ ...q, margin: high }, repeats, from) < q.power) high *= 2;
  while (high - low > 1e-5 * high) {
    const middle = (low + high) / 2;
    if (chanceToSettle({ ...q, margin: middle }, repeats, from) >= q.power) high = middle;
    else low = middle;
  }
  return high;
}

export interface Spread {
  readonly sd: number;
  readonly df: number;
}

/**
 * Pooled spread of repeats: each group is one setting in one mounting of one campaign. Null when no group has two values.
 * `relative` divides each group by its mean first.
 */
export function pooledSpread(groups: readonly (readonly number[])[], relative: boolean): Spread | null {
  let squares = 0;
  let df = 0;
  for (const group of groups) {
    if (group.length < 2) continue;
    const mean = group.reduce((s, v) => s + v, 0) / group.length;
    if (relative && mean === 0) continue;
    const scale = relative ? Math.abs(mean) : 1;
    squares += group.reduce((s, v) => s + ((v - mean) / scale) ** 2, 0);
    df += group.length - 1;
  }
  return df === 0 ? null : { sd: Math.sqrt(squares / df), df };
}

/** Upper confidence limit of a spread, for planning with caution: sd · √(df / χ²(1 − confidence, df)). */
export function cautiousSd(spread: Spread, confidence: number, chiSquare: ChiSquareQuantile): number {
  return spread.sd * Math.sqrt(spread.df / chiSquare(1 - confidence, spread.df));
}

function problemOf(q: RepeatsQuestion): string | null {
  if (!(q.sd >= 0) || !Number.isFinite(q.sd)) return `The spread is ${q.sd}; it must be a finite number of at least 0.`;
  if (!(q.margin > 0) || !Number.isFinite(q.margin)) return `The margin is ${q.margin}; it must be above 0.`;
  if (!(q.alpha > 0 && q.alpha < 0.5)) return `The chance of a wrong claim is ${q.alpha}; accepted: above 0, below 0.5.`;
  if (!(q.power >= 0.5 && q.power < 1)) return `The chance to settle it is ${q.power}; accepted: 0.5 up to below 1.`;
  if (!Number.isInteger(q.settings) || q.settings < 2) return `${q.settings} settings cannot be compared; at least 2 are needed.`;
  if (!Number.isInteger(q.comparisons) || q.comparisons < 1) return `${q.comparisons} comparisons; at least 1 is needed.`;
  return null;
}
