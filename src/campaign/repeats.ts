// How many repeats a margin needs, from the spread of earlier campaigns.

/** Quantile of Student's t: probability in 0..1, degrees of freedom > 0. Handed in, so that this folder needs no statistics. */
export type TQuantile = (probability: number, df: number) => number;
/** Quantile of chi-square, same shape. */
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
 * The least number of repeats of each setting. Normal repeats of equal spread, two-sided t interval of a difference on
 * ν = settings · (n − 1) degrees of freedom: n ≥ 2 (t(1−α/2, ν) + t(1−β, ν))² sd²/margin². For equivalence by two
 * one-sided tests the terms are t(1−α, ν) and t(1−β/2, ν), with no true difference.
 * Source: Chow, Shao and Wang, Sample Size Calculations in Clinical Research, section 3.2 (from memory). The sum of two t
 * quantiles stands for the noncentral t; where it is off, it asks for one repeat more or less.
 */
export function repeatsNeeded(q: RepeatsQuestion, t: TQuantile): RepeatsAnswer {
  const problem = problemOf(q);
  if (problem !== null) return { ok: false, why: problem };
  const share = q.alpha / q.comparisons;
  const claim = q.goal === 'difference' ? 1 - share / 2 : 1 - share;
  const settle = q.goal === 'difference' ? q.power : 1 - (1 - q.power) / 2;
  for (let n = 2; n <= MOST_REPEATS; n++) {
    const df = q.settings * (n - 1);
    const sum = t(claim, df) + Math.max(0, t(settle, df));
    if (n >= 2 * (sum * q.sd / q.margin) ** 2) return { ok: true, repeats: n, half_width: t(claim, df) * q.sd * Math.sqrt(2 / n) };
  }
  return { ok: false, why: `More than ${MOST_REPEATS} repeats would be needed: the spread of one repeat (${q.sd}) is too large against the margin (${q.margin}). Improve the rig or widen the margin.` };
}

/** Smallest margin that `repeats` settle, by the same formula turned around; null for fewer than two. */
export function marginReached(q: Omit<RepeatsQuestion, 'margin'>, repeats: number, t: TQuantile): number | null {
  if (repeats < 2 || problemOf({ ...q, margin: 1 }) !== null) return null;
  const share = q.alpha / q.comparisons;
  const df = q.settings * (repeats - 1);
  const claim = t(q.goal === 'difference' ? 1 - share / 2 : 1 - share, df);
  const settle = Math.max(0, t(q.goal === 'difference' ? q.power : 1 - (1 - q.power) / 2, df));
  return (claim + settle) * q.sd * Math.sqrt(2 / repeats);
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
