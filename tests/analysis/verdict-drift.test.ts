// Goal: the four verdicts come out as the rules say, repeat counts really settle, and drift is found and removed with its size.
// Method: power figures of the R documentation, simulated campaigns with a seeded generator, both sides of each boundary.
import { describe, expect, test } from 'vitest';
import { welch, type Difference } from '../../src/analysis/stats/compare';
import { driftAt, driftBetween, fitDrift, removeDrift, type Drift } from '../../src/analysis/stats/drift';
import { around } from '../../src/analysis/stats/interval';
import { coverageFactor } from '../../src/analysis/stats/quantiles';
import { MOST_REPEATS, powerOfT, powerOfTost, repeatsToSettle } from '../../src/analysis/stats/sample-size';
import { judgeContrast, type VerdictRules } from '../../src/analysis/stats/verdict';

/** Seeded normal values: a multiplicative congruential generator and the polar-free Box–Muller form. */
function normals(seed: number): () => number {
  let state = seed;
  const uniform = (): number => { state = (state * 48271) % 2147483647; return state / 2147483647; };
  return () => Math.sqrt(-2 * Math.log(uniform())) * Math.cos(2 * Math.PI * uniform());
}
const contrast = (d: number, u: number, dof = 8): Difference => ({ ok: true, difference: d, u, dof, t: d / u, p: null, interval: around(d, coverageFactor(0.95, dof) * u, 0.95), method: 'test' });
const rules: VerdictRules = { goal: 'higher', margin: 1, unit: 'g', repeats: 5 };

describe('power', () => {
  test('two-sample t: the examples of R power.t.test documentation (n = 20: 0.8689528; 90 % needs n = 22.02)', () => {
    expect(powerOfT(20, 1, 1)).toBeCloseTo(0.8689528, 5);
    expect(powerOfT(22, 1, 1)).toBeLessThan(0.9);
    expect(powerOfT(23, 1, 1)).toBeGreaterThan(0.9);
    expect(powerOfT(20, 0, 1)).toBeCloseTo(0.05, 10); // no difference: the level itself
  });
  test('equivalence: the approximation agrees with a simulation of 4000 campaigns to 2.5 points', () => {
    const next = normals(77);
    const [n, sd, margin, delta] = [8, 1, 1.6, 0.3];
    let settled = 0;
    for (let i = 0; i < 4000; i++) {
      const draw = (m: number): number[] => Array.from({ length: n }, () => m + sd * next());
      const d = welch(draw(0), draw(delta), 0.9);
      if (d.ok && d.interval.reason === null && d.interval.lower > -margin && d.interval.upper < margin) settled++;
    }
    expect(Math.abs(settled / 4000 - powerOfTost(n, delta, sd, margin))).toBeLessThan(0.025);
    expect(powerOfT(1, 1, 1)).toBe(0);
    expect(powerOfTost(1, 0, 1, 1)).toBe(0);
  });
});

describe('repeats to settle', () => {
  test('the number given has the wanted power, and one fewer has not', () => {
    const q = { difference: 1, sd: 1, margin: 0.5, now: 5 };
    const a = repeatsToSettle(q);
    expect(a.as).toBe('difference');
    expect(a.more).toBe((a.total ?? 0) - 5);
    expect(powerOfT(a.total ?? 0, 1, 1)).toBeGreaterThanOrEqual(0.8);
    expect(powerOfT((a.total ?? 0) - 1, 1, 1)).toBeLessThan(0.8);
    expect(a.total).toBe(17); // R power.t.test(power = .8, delta = 1, sd = 1) gives n = 16.71477 (from memory)
  });
  test('a small difference inside a wide margin is settled as equivalence, and a family of comparisons needs more', () => {
    expect(repeatsToSettle({ difference: 0.05, sd: 1, margin: 1, now: 5 }).as).toBe('equivalence');
    const one = repeatsToSettle({ difference: 1, sd: 1, margin: null, now: 3 });
    const many = repeatsToSettle({ difference: 1, sd: 1, margin: null, now: 3, comparisons: 11 });
    expect(many.total).toBeGreaterThan(one.total ?? Infinity);
  });
  test('where no sensible number settles it, the answer is null with the reason', () => {
    expect(repeatsToSettle({ difference: 0, sd: 1, margin: null, now: 5 })).toMatchObject({ total: null, more: null });
    expect(repeatsToSettle({ difference: 0, sd: 1, margin: null, now: 5 }).reason).toMatch(/no margin/);
    expect(repeatsToSettle({ difference: 0, sd: 100, margin: 0.01, now: 5 }).reason).toContain(String(MOST_REPEATS));
    expect(repeatsToSettle({ difference: 1, sd: 0, margin: 1, now: 5 }).reason).toBe('no spread is known');
  });
});

describe('verdicts', () => {
  test('better, worse and their mirror for a metric where lower is better', () => {
    expect(judgeContrast(contrast(5, 1), rules).kind).toBe('better');
    expect(judgeContrast(contrast(-5, 1), rules).kind).toBe('worse');
    expect(judgeContrast(contrast(5, 1), { ...rules, goal: 'lower' }).kind).toBe('worse');
    expect(judgeContrast(contrast(-5, 1), { ...rules, goal: 'lower' }).kind).toBe('better');
  });
  test('the boundary of zero: an interval that just touches it is not settled', () => {
    const t = coverageFactor(0.95, 8);
    expect(judgeContrast(contrast(t * 1.0001, 1), { ...rules, margin: null }).kind).toBe('better');
    expect(judgeContrast(contrast(t * 0.9999, 1), { ...rules, margin: null }).kind).toBe('open');
  });
  test('a certain difference smaller than the margin is no difference that matters; on the margin’s edge it decides by the test', () => {
    const v = judgeContrast(contrast(0.2, 0.05), rules);
    expect(v).toMatchObject({ kind: 'same', text: 'no difference beyond ±1 g', moreRepeats: null });
    const edge = 1 - coverageFactor(0.9, 8) * 0.05;
    expect(judgeContrast(contrast(edge - 1e-4, 0.05), rules).kind).toBe('same');
    expect(judgeContrast(contrast(edge + 1e-4, 0.05), rules).kind).toBe('better');
  });
  test('not settled names the further repeats, or why no number helps', () => {
    const v = judgeContrast(contrast(1, 0.7), rules);
    expect(v.kind).toBe('open');
    expect(v.text).toMatch(/^not settled \(about \d+ more repeats?\)$/);
    expect(v.moreRepeats).toBeGreaterThan(0);
    expect(judgeContrast(contrast(0, 0.7), { ...rules, margin: null }).text).toMatch(/not settled \(no margin/);
  });
  test('without a result there is no verdict, and no NaN', () => {
    const v = judgeContrast(welch([1], [2, 3]), rules);
    expect(v).toMatchObject({ kind: 'none', difference: null, interval: null, moreRepeats: null });
    expect(v.text).toMatch(/^no verdict: two or more repeats/);
    expect(() => judgeContrast(contrast(1, 1), { ...rules, margin: 0 })).toThrow(/margin is 0/);
  });
  test('wrong claims stay at their level: A against A is called different, and a difference of one margin the same, in about 5 %', () => {
    const next = normals(2024);
    const draw = (m: number): number[] => Array.from({ length: 5 }, () => m + next());
    let different = 0;
    let same = 0;
    for (let i = 0; i < 2000; i++) {
      const nil = judgeContrast(welch(draw(0), draw(0)), { ...rules, margin: null });
      if (nil.kind === 'better' || nil.kind === 'worse') different++;
      if (judgeContrast(welch(draw(0), draw(2)), { ...rules, margin: 2 }).kind === 'same') same++;
    }
    expect(different / 2000).toBeLessThan(0.065);
    expect(different / 2000).toBeGreaterThan(0.025);
    expect(same / 2000).toBeLessThan(0.065);
    expect(same / 2000).toBeGreaterThan(0.02);
  });
});

function fitted(d: ReturnType<typeof fitDrift>): Drift {
  if (!d.ok) throw new Error(d.reason);
  return d;
}

describe('drift', () => {
  const times = Array.from({ length: 10 }, (_, i) => i * 12);
  test('a linear drift is found exactly, removed, and is 0 at the mean time of the baseline runs', () => {
    const d = fitted(fitDrift(times, times.map((t) => 50 - 0.02 * t)));
    expect(d.coefficients[0]).toBeCloseTo(-0.02, 12);
    expect(d.endToEnd.value).toBeCloseTo(-0.02 * 108, 10);
    expect(driftAt(d, d.reference)).toBe(0);
    expect(driftBetween(d, [0, 12], [60, 72]).value).toBeCloseTo(-0.02 * 60, 10);
    const flat = removeDrift(d, times, times.map((t) => 50 - 0.02 * t));
    flat.forEach((v) => { expect(v).toBeCloseTo(50 - 0.02 * 54, 9); });
  });
  test('the stated uncertainty of a drift covers the truth in about 95 % of simulated campaigns', () => {
    const next = normals(5);
    let covered = 0;
    for (let i = 0; i < 1000; i++) {
      const { interval } = fitted(fitDrift(times, times.map((t) => 0.01 * t + next()))).endToEnd;
      if (interval.reason === null && interval.lower <= 1.08 && interval.upper >= 1.08) covered++;
    }
    expect(covered).toBeGreaterThan(930);
    expect(covered).toBeLessThan(970);
  });
  test('a spline follows a warm-up curve that a line cannot, and is straight beyond the outer knots', () => {
    const warm = times.map((t) => 3 * (1 - Math.exp(-t / 25)));
    const line = fitted(fitDrift(times, warm));
    const spline = fitted(fitDrift(times, warm, 'spline'));
    expect(spline.residualSd).toBeLessThan(line.residualSd / 3);
    const step = (t: number): number => driftAt(spline, t + 10) - driftAt(spline, t);
    expect(step(200)).toBeCloseTo(step(300), 8);
    expect(step(-100)).toBeCloseTo(step(-200), 8);
  });
  test('too few runs, or all at one time, cannot show a drift', () => {
    expect(fitDrift([0, 1], [1, 2])).toMatchObject({ ok: false });
    expect(fitDrift([1, 1, 1, 1], [1, 2, 3, 4])).toMatchObject({ ok: false });
    expect(fitDrift([0, 1, 2, 3, 4], [1, 2, 3, 4, 5], 'spline').ok).toBe(false);
    expect(fitted(fitDrift([0, 1, 2], [1, 2, 3])).dof).toBe(1);
  });
});
