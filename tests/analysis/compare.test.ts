// Goal: variance analysis, comparisons, equivalence, multiplicity and rates give published figures and refuse thin data.
// Method: NIST StRD SiRstv, PlantGrowth, hardwood (Montgomery & Runger), Schuirmann data, R multtest, Newcombe, jstat.
import jstat from 'jstat';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { factorialAnova, oneWayAnova, randomEffects, twoWayAnova, welchAnova } from '../../src/analysis/stats/anova';
import type { NoResult } from '../../src/analysis/stats/check';
import { pairedT, pooledT, tost, welch, type Difference } from '../../src/analysis/stats/compare';
import { benjaminiHochberg, bonferroni, hochberg, holm } from '../../src/analysis/stats/multiplicity';
import { againstBaseline, allPairs, baselineWelch, chosen, dunnett, gamesHowell, tukeyKramer, type Comparison } from '../../src/analysis/stats/simultaneous';
import { bartlett, brownForsythe, mayPool, pooledSd } from '../../src/analysis/stats/variances';
import { studentizedRangeQuantile } from '../../src/analysis/stats/quantiles';
import { wilson } from '../../src/analysis/stats/wilson';
import { siRstv } from './data/nist-strd';

function good<T extends { readonly ok: true }>(r: T | NoResult): T {
  if (!r.ok) throw new Error(`expected a result, got: ${r.reason}`);
  return r;
}
const pair = (all: Comparison[], a: number, b: number): Difference => {
  const found = all.find((c) => c.a === a && c.b === b);
  if (found === undefined) throw new Error('no such pair');
  return good(found.result);
};

// R datasets::PlantGrowth; figures computed with R 4.2.2 and SciPy 1.17.1, which agree.
const plants = [
  [4.17, 5.58, 5.18, 6.11, 4.5, 4.61, 5.17, 4.53, 5.33, 5.14],
  [4.81, 4.17, 4.41, 3.59, 5.87, 3.83, 6.03, 4.89, 4.32, 4.69],
  [6.31, 5.12, 5.54, 5.5, 5.37, 5.29, 4.92, 6.15, 5.8, 5.26],
];
// Montgomery & Runger, Applied Statistics and Probability for Engineers: tensile strength over hardwood concentration.
const hardwood = [[7, 8, 15, 11, 9, 10], [12, 17, 13, 18, 19, 15], [14, 18, 19, 17, 16, 18], [19, 25, 22, 23, 18, 20]];
// R datasets::sleep, figures computed with R 4.2.2.
const sleepA = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0, 2];
const sleepB = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4];

describe('analysis of variance', () => {
  test('NIST StRD SiRstv: certified sums of squares, F, R² and residual deviation', () => {
    const a = good(oneWayAnova(siRstv));
    expect(a.between.sumOfSquares / 5.11462616e-2).toBeCloseTo(1, 9);
    expect(a.within.sumOfSquares / 2.1663656e-1).toBeCloseTo(1, 9);
    expect((a.between.f ?? 0) / 1.18046237440255).toBeCloseTo(1, 9);
    expect((a.rSquared ?? 0) / 1.90999039051129e-1).toBeCloseTo(1, 9);
    expect(a.pooledSd / 1.04076068334656e-1).toBeCloseTo(1, 9);
    expect([a.between.dof, a.within.dof]).toEqual([4, 20]);
  });
  test('PlantGrowth: F and p, classical and Welch; jstat has the same F', () => {
    const a = good(oneWayAnova(plants));
    expect(a.between.f).toBeCloseTo(4.846087862, 8);
    expect(a.between.p).toBeCloseTo(0.01590995833, 10);
    expect(a.between.f).toBeCloseTo(jstat.anovafscore(...plants), 8);
    const w = good(welchAnova(plants));
    expect(w.f).toBeCloseTo(5.18097240811, 9);
    expect(w.dofDenominator).toBeCloseTo(17.1284186166, 8);
    expect(w.p).toBeCloseTo(0.0173928214902, 9);
  });
  test('crossed factors: balanced data give the textbook sums, which add up to the total', () => {
    const a = ['1', '1', '1', '1', '2', '2', '2', '2'];
    const b = ['x', 'x', 'y', 'y', 'x', 'x', 'y', 'y'];
    const y = [10, 12, 20, 22, 14, 16, 34, 36]; // cell means 11 21 15 35; worked by hand
    const r = good(twoWayAnova(a, b, y));
    expect(r.a.sumOfSquares).toBeCloseTo(2 * 4 * 4.5 ** 2, 10);
    expect(r.b.sumOfSquares).toBeCloseTo(2 * 4 * 7.5 ** 2, 10);
    expect(r.interaction?.sumOfSquares).toBeCloseTo(2 * 4 * 2.5 ** 2, 10);
    expect(r.error).toMatchObject({ dof: 4 });
    expect(r.error.sumOfSquares).toBeCloseTo(8, 10);
    expect(r.interaction?.f).toBeCloseTo(25, 9);
  });
  test('crossed factors, unbalanced: an additive truth shows no interaction, and effects of unweighted cell means', () => {
    const a = ['1', '1', '1', '2', '2', '2', '2'];
    const b = ['x', 'x', 'y', 'x', 'y', 'y', 'y'];
    const noise = [0.1, -0.1, 0, 0, 0.1, -0.1, 0];
    const r = good(twoWayAnova(a, b, a.map((v, i) => 3 * Number(v) + (b[i] === 'y' ? 5 : 0) + noise[i])));
    expect(r.interaction?.sumOfSquares).toBeCloseTo(0, 10);
    // Contrast of unweighted cell means: SS = d²/Σ(1/n) with d = 2·3 over cells of 2, 1, 1 and 3 runs.
    expect(r.a.sumOfSquares).toBeCloseTo(36 / (1 / 2 + 1 + 1 + 1 / 3), 9);
  });
  test('an empty cell or single runs lose the interaction with a reason; uncrossed factors lose all', () => {
    const single = good(twoWayAnova(['1', '1', '1', '2', '2', '2'], ['x', 'y', 'z', 'x', 'y', 'z'], [1, 2, 3, 2, 3, 4.5]));
    expect(single.interaction).toBeNull();
    expect(single.reason).toMatch(/one run a cell/);
    const hole = good(twoWayAnova(['1', '1', '1', '1', '2', '2'], ['x', 'x', 'y', 'y', 'x', 'x'], [1, 2, 3, 4, 5, 6.5]));
    expect(hole.reason).toMatch(/1 of 4 cells are empty/);
    expect(twoWayAnova(['1', '1', '2', '2'], ['x', 'x', 'y', 'y'], [1, 2, 3, 4])).toMatchObject({ ok: false });
    expect(twoWayAnova(['1', '1'], ['x', 'y'], [1, 2])).toMatchObject({ ok: false });
    expect(oneWayAnova([[1], [2]])).toMatchObject({ ok: false, reason: 'one repeat a setting: nothing to judge the scatter by' });
    expect(oneWayAnova([[1, 2], []])).toMatchObject({ ok: false, reason: 'setting 1 has no usable repeats' });
  });
  test('three crossed factors: balanced data give the textbook sums of every factor and pair; two factors give what the two-way table gives', () => {
    // 2 × 2 × 2 cells, two values ± 0.5 about a mean that is 1·A + 2·B + 3·C + 4·AB in ±1 coding: worked by hand, SS = 16·coefficient².
    const cells = [0, 1].flatMap((a) => [0, 1].flatMap((b) => [0, 1].flatMap((c) => [-0.5, 0.5].map((e) => ({ a, b, c, e })))));
    const sign = (v: number): number => (v === 0 ? -1 : 1);
    const y = cells.map(({ a, b, c, e }) => 10 + sign(a) + 2 * sign(b) + 3 * sign(c) + 4 * sign(a) * sign(b) + e);
    const names = (['a', 'b', 'c'] as const).map((f) => cells.map((cell) => String(cell[f])));
    const r = good(factorialAnova(names, y));
    r.main.forEach((e, i) => { expect(e.sumOfSquares).toBeCloseTo(16 * (i + 1) ** 2, 9); });
    expect(r.pairs.map((p) => [p.of, Math.round(p.effect.sumOfSquares * 1e6) / 1e6])).toEqual([[[0, 1], 256], [[0, 2], 0], [[1, 2], 0]]);
    expect(r.error.sumOfSquares).toBeCloseTo(16 * 0.25, 9);
    expect(r.error.dof).toBe(9); // 16 − 1 − 3 − 3: the triple interaction is in the scatter
    const two = good(twoWayAnova(names[0], names[1], y));
    const same = good(factorialAnova([names[0], names[1]], y));
    expect(same.main[0].f).toBeCloseTo(two.a.f ?? NaN, 9);
    expect(same.pairs[0].effect.f).toBeCloseTo(two.interaction?.f ?? NaN, 9);
  });
  test('a covariate takes its share out and its uncertainty in: an effect that moves along with it loses its certainty', () => {
    const time = Array.from({ length: 12 }, (_, i) => i);
    const mixed = time.map((i) => String(i % 2));
    const late = time.map((i) => (i < 6 ? '0' : '1'));
    const noise = [0.2, -0.1, 0.15, -0.2, 0.1, -0.15, -0.1, 0.2, -0.05, 0.1, -0.2, 0.05];
    const y = (of: readonly string[]): number[] => time.map((i) => 3 * i + 2 * Number(of[i]) + noise[i]);
    const free = good(factorialAnova([mixed], y(mixed), [time])).main[0];
    const bound = good(factorialAnova([late], y(late), [time])).main[0];
    expect(free.p).toBeLessThan(1e-6);
    // Without scatter: ±1 on 12 runs, less what the coding shares with time (36/143, worked by hand).
    expect(good(factorialAnova([mixed], time.map((i) => 3 * i + 2 * Number(mixed[i])), [time])).main[0].sumOfSquares).toBeCloseTo(12 - 36 / 143, 9);
    expect(bound.f).toBeLessThan((free.f ?? 0) / 2);
    expect(good(factorialAnova([mixed], y(mixed))).main[0].p).toBeGreaterThan(0.1); // without it the drift is scatter
  });
  test('random effects: within and between as the mean squares define them, a negative part is 0 and flagged', () => {
    const r = good(randomEffects([[10, 12], [20, 22], [30, 32]])); // MSW 2, MSB 200, n₀ 2 by hand
    expect(r.withinSd).toBeCloseTo(Math.SQRT2, 12);
    expect(r.betweenSd).toBeCloseTo(Math.sqrt(99), 10);
    expect(r.mean).toBe(21);
    expect(r.u).toBeCloseTo(Math.sqrt(200 / 6), 10); // √(MSB/(k·n))
    const none = good(randomEffects([[0, 10], [1, 9], [2, 8]]));
    expect(none.betweenSd).toBe(0);
    expect(none.flags).toHaveLength(1);
  });
});

describe('two settings', () => {
  test('Welch, pooled and paired comparisons of the sleep data', () => {
    const w = good(welch(sleepB, sleepA)); // a − b as R prints it
    expect(w.t).toBeCloseTo(-1.86081346748685, 11);
    expect(w.dof).toBeCloseTo(17.7764735161785, 10);
    expect(w.p).toBeCloseTo(0.0793941401873582, 11);
    expect(w.u).toBeCloseTo(0.849091017238762, 12);
    expect(w.interval.lower).toBeCloseTo(-3.36548323071171, 9);
    expect(w.interval.upper).toBeCloseTo(0.20548323071171, 9);
    expect(good(pooledT(sleepA, sleepB)).p).toBeCloseTo(0.0791867142159382, 11);
    const p = good(pairedT(sleepB, sleepA));
    expect(p.t).toBeCloseTo(-4.06212768338204, 11);
    expect(p.p).toBeCloseTo(0.00283289019738427, 12);
  });
  test('equivalence: data of the statsmodels test set, p values as printed by R tost()', () => {
    const g1 = [2.84, 2.51, 2.41, 2.95, 3.14, 3.79, 4.14, 3.85, 3.02, 3.45, 5.37, 3.81, 4.19, 3.16, 3.84];
    const g2 = [2.6, 2.82, 2.18, 3.46, 4.01, 3.04, 3.47, 4.06, 2.91, 3.59, 4.51, 3.16, 3.86, 3.31, 3.02];
    const d = good(welch(g2, g1));
    expect(d.dof).toBeCloseTo(26.7484787582315, 9);
    const e = tost(d, 0.6);
    expect(e.equivalent).toBe(true);
    expect(e.p).toBeCloseTo(0.04853083976236974, 10);
    expect(e.tLower).toBeCloseTo(3.0204566921, 9);
    expect(e.tUpper).toBeCloseTo(-1.71957996508, 9);
    expect(e.interval.lower).toBeCloseTo(-0.2666862980722534, 9);
    expect(e.interval.upper).toBeCloseTo(0.596019631405587, 9);
    expect(tost(d, 0.596).equivalent).toBe(false); // both sides of the boundary at 0.59602
    expect(tost(d, 0.5961).equivalent).toBe(true);
  });
  test('equivalence: the larger p decides, so sleep is not equivalent within ±0.5 although one side passes', () => {
    const e = tost(good(welch(sleepB, sleepA)), 0.5);
    expect(e.pLower).toBeCloseTo(0.89010996125, 9);
    expect(e.pUpper).toBeCloseTo(0.01245132772, 9);
    expect(e.equivalent).toBe(false);
  });
  test('thin or scatterless data give a reason; a margin of 0 is refused', () => {
    expect(welch([1], [1, 2])).toMatchObject({ ok: false, reason: 'two or more repeats a side are needed, got 1 and 2' });
    expect(welch([1, 1], [2, 2])).toMatchObject({ ok: false });
    expect(pooledT([], [1, 2])).toMatchObject({ ok: false });
    expect(pooledT([1], [2])).toMatchObject({ ok: false });
    expect(pooledT([1], [2], 0.95, { sd: 0.5, dof: 10 })).toMatchObject({ ok: true, dof: 10 });
    expect(pairedT([1], [2])).toMatchObject({ ok: false });
    expect(() => tost({ difference: 0, u: 1, dof: 5 }, 0)).toThrow(/positive/);
  });
});

describe('many settings', () => {
  test('Tukey on PlantGrowth: intervals and adjusted p', () => {
    const all = tukeyKramer(plants);
    const table: [number, number, number, number, number, number][] = [
      [0, 1, -0.371, -1.06221605, 0.32021605, 0.3908711442], [0, 2, 0.494, -0.19721605, 1.18521605, 0.1979959913], [1, 2, 0.865, 0.17378395, 1.55621605, 0.012006424],
    ];
    for (const [a, b, d, lower, upper, p] of table) {
      const c = pair(all, a, b);
      expect(c.difference).toBeCloseTo(d, 10);
      expect(c.interval.lower).toBeCloseTo(lower, 5);
      expect(c.interval.upper).toBeCloseTo(upper, 5);
      expect(c.p).toBeCloseTo(p, 6);
    }
  });
  test('Tukey on hardwood: the published intervals', () => {
    const all = tukeyKramer(hardwood);
    const table: [number, number, number, number][] = [[0, 1, 1.542, 9.791], [0, 2, 2.876, 11.124], [0, 3, 7.042, 15.291], [1, 2, -2.791, 5.458], [1, 3, 1.376, 9.624], [2, 3, 0.042, 8.291]];
    const printed = 3.96 / studentizedRangeQuantile(0.95, 4, 20); // the book worked with q rounded to 3.96
    for (const [a, b, lower, upper] of table) {
      const { difference: d, interval } = pair(all, a, b);
      const half = (interval.upper ?? NaN) - d;
      expect(Math.abs(d - half * printed - lower)).toBeLessThan(0.001);
      expect(Math.abs(d + half * printed - upper)).toBeLessThan(0.001);
    }
    expect(pair(all, 2, 3).p).toBeCloseTo(0.04702511558, 6);
  });
  test('two settings need no adjustment: Tukey is the pooled t, Games–Howell is Welch', () => {
    expect(pair(tukeyKramer([sleepA, sleepB]), 0, 1).p).toBeCloseTo(0.0791867142159382, 10);
    expect(pair(gamesHowell([sleepA, sleepB]), 0, 1).p).toBeCloseTo(0.0793941401873582, 10);
  });
  test('Games–Howell uses each pair’s own spread: a noisy third setting leaves a quiet pair’s interval alone', () => {
    const quiet = [[1, 1.1, 0.9, 1.05, 0.95], [2, 2.1, 1.9, 2.05, 1.95]];
    const calm = pair(gamesHowell([...quiet, [5, 5.1, 4.9, 5.05, 4.95]]), 0, 1);
    const wild = pair(gamesHowell([...quiet, [5, 15, -5, 10, 0]]), 0, 1);
    expect(wild.interval).toEqual(calm.interval);
    expect(pair(tukeyKramer([...quiet, [5, 15, -5, 10, 0]]), 0, 1).interval.upper).toBeGreaterThan((wild.interval.upper ?? 0) + 1);
  });
  test('Dunnett lies between no adjustment and Bonferroni, and equals the pooled t for one comparison', () => {
    const d = pair(dunnett(plants, 0), 0, 2);
    const plain = good(pooledT(plants[0], plants[2], 0.95, { sd: Math.sqrt(0.388595925926), dof: 27 }));
    expect(plain.p).toBeCloseTo(0.0876816750627, 8); // R pairwise.t.test, pooled
    expect(d.p).toBeGreaterThan(plain.p ?? 1);
    expect(d.p).toBeLessThan(2 * (plain.p ?? 0));
    expect(pair(dunnett([sleepA, sleepB], 0), 0, 1).p).toBeCloseTo(0.0791867142159382, 6);
  });
  test('the data choose the method: equal spreads are pooled, unequal ones are not, and the reason is given', () => {
    expect(pair(againstBaseline(plants, 0).comparisons, 0, 1).method).toBe('Dunnett');
    expect(pair(allPairs(plants).comparisons, 0, 1).method).toBe('Tukey–Kramer');
    const uneven = [plants[0], plants[1].map((v) => 5 + 30 * (v - 5)), plants[2]];
    expect(pair(againstBaseline(uneven, 0).comparisons, 0, 1).method).toMatch(/Welch/);
    expect(allPairs(uneven).why).toMatch(/scatter differently/);
    expect(pair(allPairs(uneven).comparisons, 0, 1).method).toBe('Games–Howell');
  });
  test('empty and single-repeat settings: the one has a reason, the other borrows the pooled spread', () => {
    const all = tukeyKramer([[1, 1.2, 0.9], [2], []]);
    expect(all.find((c) => c.a === 0 && c.b === 1)?.result).toMatchObject({ ok: true, dof: 2 });
    expect(all.find((c) => c.a === 0 && c.b === 2)?.result).toMatchObject({ ok: false, reason: 'a side has no usable repeats' });
    expect(tukeyKramer([[1], [2]])[0].result).toMatchObject({ ok: false, reason: 'no setting has two or more repeats' });
    expect(baselineWelch([[1, 2], [3]], 0)[0].result).toMatchObject({ ok: false });
    expect(() => dunnett([[1, 2]], 1)).toThrow(/baseline 1/);
  });
  test('chosen contrasts: Bonferroni widens the interval to t at 1 − 0.05/m', () => {
    const d = good(welch(sleepA, sleepB));
    const [adjusted] = chosen([d, d, d]);
    expect(adjusted.p).toBeCloseTo(3 * 0.0793941401873582, 10);
    expect((adjusted.interval.upper ?? 0)).toBeGreaterThan(d.interval.upper ?? 0);
  });
});

describe('multiplicity', () => {
  const raw = [5.23656777208e-05, 2.8140506198e-04, 1.49877310796e-02, 2.02732688798e-02, 0.177096952723, 0.642193923795, 0.680845947633, 0.71626938238, 0.838541367553, 0.967833824309];
  test('Holm and Benjamini–Hochberg of ten p values as in R multtest (statsmodels test set)', () => {
    const expectedHolm = [5.23656777208e-04, 2.53264555782e-03, 0.1199018486368, 0.1419128821586, 1];
    const expectedBh = [5.23656777208e-04, 1.4070253099e-03, 0.0499591035987, 0.0506831721995, 0.354193905446];
    expectedHolm.forEach((v, i) => { expect(holm(raw)[i]).toBeCloseTo(v, 10); });
    expectedBh.forEach((v, i) => { expect(benjaminiHochberg(raw)[i]).toBeCloseTo(v, 10); });
  });
  test('PlantGrowth pairwise p by Holm (R 4.2.2), in the given order', () => {
    const p = holm([0.1943878800543, 0.0876816750627, 0.00445923593821]);
    [0.194387880054, 0.175363350125, 0.0133777078146].forEach((v, i) => { expect(p[i]).toBeCloseTo(v, 11); });
  });
  test('raw ≤ Hochberg ≤ Holm ≤ Bonferroni, BH ≤ Hochberg, and order is kept, for any p values', () => {
    fc.assert(fc.property(fc.array(fc.double({ min: 0, max: 1, noNaN: true }), { minLength: 1, maxLength: 12 }), (p) => {
      const [hb, ho, bo, bh] = [hochberg(p), holm(p), bonferroni(p), benjaminiHochberg(p)];
      p.forEach((v, i) => {
        expect(v).toBeLessThanOrEqual(bh[i] + 1e-12);
        expect(bh[i]).toBeLessThanOrEqual(hb[i] + 1e-12);
        expect(hb[i]).toBeLessThanOrEqual(ho[i] + 1e-12);
        expect(ho[i]).toBeLessThanOrEqual(bo[i] + 1e-12);
        p.forEach((w, k) => { if (v < w) expect(ho[i]).toBeLessThanOrEqual(ho[k]); });
      });
    }), { numRuns: 200, seed: 2 });
  });
  test('a p outside 0..1 is named', () => { expect(() => holm([0.1, 1.2])).toThrow(/p\[1\] is 1.2/); });
});

describe('spreads', () => {
  test('Bartlett on PlantGrowth (R 4.2.2) and the pooled spread', () => {
    const b = good(bartlett(plants));
    expect(b.statistic).toBeCloseTo(2.87857378724, 9);
    expect(b.p).toBeCloseTo(0.237096773635, 10);
    expect(good(pooledSd(plants)).sd ** 2).toBeCloseTo(0.388595925926, 11);
    expect(mayPool(plants).pool).toBe(true);
    expect(brownForsythe(plants)).toMatchObject({ ok: true });
    expect(good(brownForsythe([[1, 2, 3], [1, 2, 3]])).p).toBeCloseTo(1, 12);
  });
  test('settings without scatter or repeats cannot be tested, and say so', () => {
    expect(bartlett([[1, 1], [1, 2]])).toMatchObject({ ok: false });
    expect(mayPool([[1], [2, 3]]).pool).toBe(false);
    expect(pooledSd([[1], [2]])).toMatchObject({ ok: false });
    expect(brownForsythe([[1, 2], [3, 4]])).toMatchObject({ ok: false });
  });
});

test('Wilson intervals of Newcombe, Statistics in Medicine 17 (1998) 857, table I (from memory)', () => {
  const table: [number, number, number, number][] = [[81, 263, 0.2553, 0.3662], [15, 148, 0.0624, 0.1605], [0, 20, 0, 0.1611], [1, 29, 0.0061, 0.1718]];
  for (const [s, n, lower, upper] of table) {
    expect(wilson(s, n).interval.lower).toBeCloseTo(lower, 4);
    expect(wilson(s, n).interval.upper).toBeCloseTo(upper, 4);
  }
  expect(wilson(75, 75).interval.upper).toBe(1);
  expect(wilson(75, 75).interval.lower).toBeCloseTo(1 - (wilson(0, 75).interval.upper ?? 0), 12);
  expect(wilson(0, 0)).toMatchObject({ rate: null, interval: { lower: null, reason: 'no trials' } });
  expect(() => wilson(3, 2)).toThrow(/not a count/);
});
