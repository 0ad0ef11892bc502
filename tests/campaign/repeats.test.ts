// Goal: the planner asks for the repeats that a margin really needs, neither more nor fewer.
// Method: published sample-size tables; exact power from the noncentral t and by numerical integration with jstat, which did not do the computing.
import jstatAll from 'jstat';
import { describe, expect, test } from 'vitest';
import { chi2Quantile, noncentralTCdf, tQuantile } from '../../src/analysis/stats/quantiles';
import { cautiousSd, chanceToSettle, marginReached, MOST_REPEATS, pooledSpread, repeatsNeeded, type RepeatsQuestion } from '../../src/campaign/repeats';

interface Other { cdf(x: number, ...p: number[]): number; pdf(x: number, ...p: number[]): number; inv(x: number, ...p: number[]): number }
const jstat = jstatAll as unknown as { studentt: Other; noncentralt: Other; chisquare: Other; normal: Other };
const t = { tQuantile, noncentralTCdf };
const ask = (part: Partial<RepeatsQuestion>): RepeatsQuestion => ({ sd: 1, margin: 1, goal: 'difference', alpha: 0.05, power: 0.8, settings: 2, comparisons: 1, ...part });
const needed = (part: Partial<RepeatsQuestion>): number => {
  const answer = repeatsNeeded(ask(part), t);
  if (!answer.ok) throw new Error(answer.why);
  return answer.repeats;
};

/** Exact power of the two-sided two-sample t test. */
function powerOfDifference(n: number, q: RepeatsQuestion): number {
  const df = q.settings * (n - 1);
  const shift = (q.margin / q.sd) * Math.sqrt(n / 2);
  return 1 - jstat.noncentralt.cdf(jstat.studentt.inv(1 - q.alpha / 2, df), df, shift);
}

/** Exact power of two one-sided tests with no true difference: integrates over the spread that may be found. */
function powerOfEquivalence(n: number, q: RepeatsQuestion): number {
  const df = q.settings * (n - 1);
  const se = Math.sqrt(2 / n) * q.sd;
  const claim = jstat.studentt.inv(1 - q.alpha, df);
  const steps = 4000;
  const top = jstat.chisquare.inv(1 - 1e-9, df);
  let sum = 0;
  for (let i = 0; i < steps; i++) {
    const x = ((i + 0.5) * top) / steps;
    const room = q.margin / se - claim * Math.sqrt(x / df);
    if (room > 0) sum += jstat.chisquare.pdf(x, df) * (2 * jstat.normal.cdf(room, 0, 1) - 1);
  }
  return (sum * top) / steps;
}

describe('showing a difference', () => {
  test('agrees with published sample sizes', () => {
    // Source: help page of power.t.test in R's stats package and common use of it: power 0.90, delta 1 gives n = 22.02;
    // power 0.80, delta 0.2, 0.5, 0.8 give 393.41, 63.77, 25.52 (from memory; checked with SciPy 1.17.1's noncentral t).
    expect(needed({ margin: 1, power: 0.9 })).toBe(23);
    expect([0.2, 0.5, 0.8].map((margin) => needed({ margin }))).toEqual([394, 64, 26]);
  });

  test('is never below the classic table and at most one repeat above it', () => {
    // Source: Cohen, "A power primer", Psychological Bulletin 112 (1992) 155, table 2, mean difference, n in each group
    // at power 0.80 for 0.2, 0.5, 0.8 standard deviations (from memory). Its n are approximate: at alpha 0.01 its 95 and
    // 38 have a power of 0.7995 and 0.7975 by SciPy's noncentral t.
    const table = [[0.01, [586, 95, 38]], [0.05, [393, 64, 26]], [0.1, [310, 50, 20]]] as const;
    for (const [alpha, row] of table) [0.2, 0.5, 0.8].forEach((margin, i) => expect([0, 1]).toContain(needed({ margin, alpha }) - row[i]));
  });

  test('has the asked power by another noncentral t, and one repeat fewer has not', () => {
    for (const d of [0.6, 1, 1.5, 2, 3]) for (const settings of [2, 4, 12]) for (const power of [0.8, 0.9, 0.95]) {
      const q = ask({ margin: d, settings, power });
      const n = needed(q);
      expect(chanceToSettle(q, n, t)).toBeCloseTo(powerOfDifference(n, q), 5);
      expect(powerOfDifference(n, q)).toBeGreaterThanOrEqual(power);
      if (n > 2) expect(powerOfDifference(n - 1, q)).toBeLessThan(power);
    }
  });

  test('grows with spread, comparisons and power, shrinks with the margin and with more settings to pool', () => {
    const base = needed({});
    expect(needed({ sd: 1.5 })).toBeGreaterThan(base);
    expect(needed({ comparisons: 11 })).toBeGreaterThan(base);
    expect(needed({ power: 0.95 })).toBeGreaterThan(base);
    expect(needed({ margin: 2 })).toBeLessThan(base);
    expect(needed({ settings: 12 })).toBeLessThan(base);
  });
});

describe('showing that nothing differs beyond the margin', () => {
  test('has the asked power by exact integration, never less, and at most one repeat too many', () => {
    for (const margin of [0.5, 1, 1.5, 2, 3]) for (const settings of [2, 6, 12]) for (const power of [0.8, 0.9]) {
      const q = ask({ goal: 'equivalence', margin, settings, power });
      const n = needed(q);
      expect(powerOfEquivalence(n, q)).toBeGreaterThanOrEqual(power);
      if (n > 3) expect(powerOfEquivalence(n - 2, q)).toBeLessThan(power);
      expect(powerOfEquivalence(n, q) - chanceToSettle(q, n, t)).toBeGreaterThan(-1e-4);
    }
  });
});

describe('spread', () => {
  test('is pooled over settings and cleared of their means', () => {
    // Two groups by hand: squares 2 and 8 on one and two degrees of freedom.
    expect(pooledSpread([[1, 3], [10, 12, 14], [5], []], false)).toEqual({ sd: Math.sqrt(10 / 3), df: 3 });
    expect(pooledSpread([[99, 101], [198, 202]], true)).toEqual({ sd: Math.sqrt((2e-4 + 2e-4) / 2), df: 2 });
    expect(pooledSpread([[0, 0], [1]], true)).toBeNull();
    expect(pooledSpread([], false)).toBeNull();
  });

  test('taken with caution it is the upper limit of its interval', () => {
    // Chi-square with 10 degrees of freedom, 5 % point 3.940 (NIST/SEMATECH e-Handbook, table 1.3.6.7.4).
    expect(cautiousSd({ sd: 1, df: 10 }, 0.95, chi2Quantile)).toBeCloseTo(Math.sqrt(10 / 3.94), 3);
  });
});

describe('the answer', () => {
  test('turned around, the margin that those repeats reach is at most the one asked for, and one repeat fewer does not reach it', () => {
    for (const goal of ['difference', 'equivalence'] as const) for (const margin of [0.3, 0.7, 1.1, 2.5]) {
      const q = ask({ goal, margin });
      const n = needed(q);
      expect(marginReached(q, n, t)).toBeLessThanOrEqual(margin * (1 + 1e-4));
      if (n > 2) expect(marginReached(q, n - 1, t)).toBeGreaterThan(margin);
    }
    expect(marginReached(ask({}), 1, t)).toBeNull();
  });

  test('tells the half width of the interval that comes out', () => {
    const answer = repeatsNeeded(ask({ margin: 0.5 }), t);
    expect(answer.ok && answer.half_width).toBeCloseTo(1.97897 * Math.sqrt(2 / 64), 4);
  });

  test('is a plain sentence where there is none', () => {
    const why = (part: Partial<RepeatsQuestion>): string => {
      const a = repeatsNeeded(ask(part), t);
      return a.ok ? 'ok' : a.why;
    };
    expect(why({ margin: 0.001 })).toMatch(new RegExp(`More than ${MOST_REPEATS} repeats`));
    expect(why({ margin: 0 })).toMatch(/margin is 0/);
    expect(why({ sd: NaN })).toMatch(/spread is NaN/);
    expect(why({ sd: -1 })).toMatch(/spread is -1/);
    expect([why({ alpha: 0.5 }), why({ alpha: 0.49 })]).toEqual([expect.stringMatching(/wrong claim is 0.5/), 'ok']);
    expect([why({ power: 1 }), why({ power: 0.49 }), why({ power: 0.5 })]).toEqual([expect.stringMatching(/settle it is 1/), expect.stringMatching(/settle it is 0.49/), 'ok']);
    expect(why({ settings: 1 })).toMatch(/at least 2/);
    expect(why({ comparisons: 0 })).toMatch(/at least 1/);
    expect(needed({ sd: 0 })).toBe(2);
    expect(marginReached(ask({ sd: 0 }), 5, t)).toBe(0);
  });
});
