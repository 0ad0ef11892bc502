/** The four verdicts on one contrast against a baseline. */
import type { NoResult } from './check';
import { tost, type Difference, type Equivalence } from './compare';
import type { Interval } from './interval';
import { repeatsToSettle } from './sample-size';

/** better · worse · same (no difference beyond ±margin) · open (not settled) · none (nothing to judge by). */
export type VerdictKind = 'better' | 'worse' | 'same' | 'open' | 'none';

/** A verdict with its words and the figures behind it. */
export type Verdict = {
  readonly kind: VerdictKind;
  /** The verdict in words, e.g. `not settled (about 4 more repeats)`. */
  readonly text: string;
  /** Setting minus baseline; null without a result. */
  readonly difference: number | null;
  readonly interval: Interval | null;
  readonly margin: number | null;
  readonly equivalence: Equivalence | null;
  /** For `open`: further repeats a setting that would settle it; null where no number does. */
  readonly moreRepeats: number | null;
  readonly reason: string | null;
};

/** What a verdict needs beside the contrast. */
export type VerdictRules = {
  readonly goal: 'higher' | 'lower';
  /** Largest difference that does not matter, in the metric's unit; null when the user states none. */
  readonly margin: number | null;
  /** Unit for the words. */
  readonly unit: string;
  /** Repeats a setting so far (the smaller of the two). */
  readonly repeats: number;
  readonly level?: number;
  readonly comparisons?: number;
  readonly settings?: number;
};

/**
 * Judges a contrast whose interval is simultaneous over its family:
 * - equivalent by two one-sided tests → `same`, even when a difference smaller than the margin is certain;
 * - else the interval lies on one side of zero → `better` or `worse`;
 * - else `open`, with the repeats that would settle it.
 */
export function judgeContrast(contrast: Difference | NoResult, rules: VerdictRules): Verdict {
  const { margin, unit, goal, repeats, level = 0.05 } = rules;
  if (margin !== null && !(margin > 0 && Number.isFinite(margin))) throw new RangeError(`the margin is ${margin} ${unit}; state a positive one or none`);
  if (!contrast.ok) {
    return { kind: 'none', text: `no verdict: ${contrast.reason}`, difference: null, interval: null, margin, equivalence: null, moreRepeats: null, reason: contrast.reason };
  }
  const { difference, interval, u, dof } = contrast;
  const equivalence = margin === null ? null : tost({ difference, u, dof }, margin, level);
  const done = (kind: VerdictKind, text: string): Verdict =>
    ({ kind, text, difference, interval, margin, equivalence, moreRepeats: null, reason: null });
  if (equivalence?.equivalent === true) return done('same', `no difference beyond ±${margin} ${unit}`.trim());
  if (interval.reason === null && (interval.lower > 0 || interval.upper < 0)) {
    const better = goal === 'higher' ? interval.lower > 0 : interval.upper < 0;
    return done(better ? 'better' : 'worse', better ? 'better' : 'worse');
  }
  const settle = repeatsToSettle({
    difference, margin, now: repeats, sd: u * Math.sqrt(Math.max(1, repeats) / 2), level,
    ...(rules.comparisons === undefined ? {} : { comparisons: rules.comparisons }),
    ...(rules.settings === undefined ? {} : { settings: rules.settings }),
  });
  const more = settle.more;
  return {
    ...done('open', more === null ? `not settled (${settle.reason})` : `not settled (about ${more} more repeat${more === 1 ? '' : 's'})`),
    moreRepeats: more, reason: settle.reason,
  };
}
