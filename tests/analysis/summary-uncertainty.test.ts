// Goal: means, spreads and combined uncertainties are right to their last meaningful digit, and missing ones say why.
// Method: NIST StRD certified values, worked examples of the GUM and NIST TN 1900, simple-statistics as an outsider.
import * as simple from 'simple-statistics';
import { describe, expect, test } from 'vitest';
import { dofOfDoubt, arcsine, certificate, combine, fromInterval, propagate, rectangular, scaledT, triangular, typeA, typeAPooled, withComponents } from '../../src/analysis/stats/uncertainty';
import { expandedInterval, estimate } from '../../src/analysis/stats/estimate';
import { autocorrelation, effectiveSampleSize, mean, median, quantile, sd, summarize } from '../../src/analysis/stats/summary';
import { lew, numAcc1, numAcc2, numAcc4 } from './data/nist-strd';

const about = { unit: 'mm', method: 'test', estimand: 'this mounting' };

describe('NIST StRD univariate sets', () => {
  test.each([
    ['NumAcc1', numAcc1, 10000002, 1, -0.5, 13],
    ['NumAcc2', numAcc2, 1.2, 0.1, -0.999, 12],
    // Doubles near 1e7 lie 1.9e-9 apart, 1.9e-8 of this deviation: the data themselves hold no more digits.
    ['NumAcc4', numAcc4, 10000000.2, 0.1, -0.999, 7],
    ['Lew', lew, -177.435, 277.332168044316, -0.307304800605679, 12],
  ])('%s: mean, standard deviation and lag-1 autocorrelation', (_name, data, m, s, r1, digits) => {
    expect(mean(data) / m).toBeCloseTo(1, 14);
    expect((sd(data) ?? 0) / s).toBeCloseTo(1, digits);
    expect((autocorrelation(data, 1)?.[1] ?? 0) / r1).toBeCloseTo(1, digits);
  });
  test('Lew autocorrelations at lags 0..10 round to those printed in the NIST/SEMATECH e-Handbook (beam deflections case study)', () => {
    const r = autocorrelation(lew, 10) ?? [];
    expect(Array.from(r, (v) => Number(v.toFixed(2)))).toEqual([1, -0.31, -0.74, 0.77, 0.21, -0.9, 0.38, 0.63, -0.77, -0.12, 0.82]);
  });
});

test('simple-statistics gives the same mean, deviation, median and quantile order', () => {
  const data = [...lew];
  expect(mean(data)).toBeCloseTo(simple.mean(data), 10);
  expect(sd(data)).toBeCloseTo(simple.sampleStandardDeviation(data), 9);
  expect(median(data)).toBe(simple.median(data));
  expect(quantile(data, 0)).toBe(simple.min(data));
  expect(quantile(data, 1)).toBe(simple.max(data));
});

test('no values, one value and values that are not numbers are answered by reason or by name', () => {
  expect(summarize([])).toEqual({ n: 0, mean: null, sd: null, standardError: null, min: null, max: null, reason: 'no values' });
  expect(summarize([3])).toMatchObject({ n: 1, mean: 3, sd: null, standardError: null, reason: 'one value has no spread' });
  expect(() => mean([1, NaN, 2])).toThrow(/values\[1\] of 3 is NaN/);
  expect(autocorrelation([2, 2, 2], 1)).toBeNull();
});

test('an effective sample size shrinks as 1 + 2Σr says for an autoregressive series, and stays n for independent values', () => {
  let state = 1;
  const uniform = (): number => { state = (state * 48271) % 2147483647; return state / 2147483647 - 0.5; };
  const white = Array.from({ length: 4000 }, uniform);
  const red: number[] = [];
  white.forEach((w, i) => red.push(w + 0.8 * (red[i - 1] ?? 0)));
  expect((effectiveSampleSize(white) ?? 0) / 4000).toBeGreaterThan(0.85);
  expect((effectiveSampleSize(red) ?? 0) / 4000).toBeGreaterThan(0.08); // (1 − 0.8)/(1 + 0.8) = 0.111
  expect((effectiveSampleSize(red) ?? 0) / 4000).toBeLessThan(0.15);
});

describe('Type B', () => {
  test('shapes have the standard uncertainties of GUM 4.3 and H.1', () => {
    expect(rectangular(1).u).toBeCloseTo(1 / Math.sqrt(3), 15);
    expect(triangular(1).u).toBeCloseTo(1 / Math.sqrt(6), 15);
    expect(arcsine(0.5).u).toBeCloseTo(0.35355, 5);
    expect(certificate(0.075, 3).u).toBeCloseTo(0.025, 15); // GUM H.1.3.1: U = 0.075 µm with k = 3 gives 25 nm
    expect(fromInterval(1.96, 0.95).u).toBeCloseTo(1, 4);
    expect(scaledT(1, 4).u).toBeCloseTo(Math.SQRT2, 15);
    expect(dofOfDoubt(0.25)).toBe(8); // GUM G.4.2: 25 % doubt is 8 degrees of freedom
    expect(dofOfDoubt(0.1)).toBeCloseTo(50, 10); // GUM H.1.6: 10 % doubt is 50
  });
  test('a t without a variance, a width that is no number and degrees of freedom of 0 are refused', () => {
    expect(() => scaledT(1, 2)).toThrow(/no standard deviation/);
    expect(() => rectangular(NaN)).toThrow(/standard uncertainty of NaN/);
    expect(() => rectangular(1, 0)).toThrow(/degrees of freedom/);
  });
});

describe('combination', () => {
  test('GUM H.1, end gauge: 50 000 838 nm, u = 32 nm, ν_eff = 16, U99 = 93 nm', () => {
    const d = combine([{ name: 'repeat', u: 5.8, dof: 24 }, { name: 'random', u: 3.9, dof: 5 }, { name: 'systematic', u: 6.7, dof: 8 }]);
    expect(d.u).toBeCloseTo(9.7, 1);
    expect(d.dof).toBeCloseTo(25.45, 2);
    const { estimate: l, budget } = propagate(
      ({ ls, d, as, da, dt, t }) => ls + d - ls * (da * t + as * dt),
      {
        ls: { value: 50000623, u: 25, dof: 18 }, d: { value: 215, u: 9.7, dof: 25.6 }, // as printed
        as: { value: 11.5e-6, ...rectangular(2e-6) }, da: { value: 0, ...rectangular(1e-6, 50) },
        dt: { value: 0, ...rectangular(0.05, 2) }, t: { value: -0.1, u: Math.hypot(0.2, arcsine(0.5).u) },
      },
      { ...about, unit: 'nm' },
    );
    const part = (name: string): number => budget.find((b) => b.name === name)?.contribution ?? NaN;
    expect(l.value).toBeCloseTo(50000838, 0);
    expect(l.u).toBeCloseTo(31.67, 2);
    expect(Math.round(l.u ?? 0)).toBe(32);
    expect(l.dof).toBeCloseTo(16.76, 1); // printed 16.7
    expect(part('dt')).toBeCloseTo(16.599, 2);
    expect(part('da')).toBeCloseTo(2.88679, 3);
    const U99 = expandedInterval({ ...l, dof: Math.floor(l.dof ?? 0) }, 0.99);
    expect((U99.upper ?? 0) - (l.value ?? 0)).toBeCloseTo(92.5, 1); // printed 93 from the rounded u = 32: 2.92·32 = 93.4
    expect(Math.round(2.92078162 * 32)).toBe(93);
  });
  test('GUM G.4.1: three relative components give 1.03 %, ν_eff 19.0, U95 = 2.2 %', () => {
    const y = combine([{ name: '1', u: 0.25, dof: 9 }, { name: '2', u: 0.57, dof: 4 }, { name: '3', u: 0.82, dof: 14 }]);
    expect(y.u).toBeCloseTo(1.0294659, 7);
    expect(y.dof).toBeCloseTo(18.998742, 6);
    const i = expandedInterval(estimate(0, y.u, y.dof, about), 0.95);
    expect(i.upper).toBeCloseTo(2.1547, 3);
  });
  test('NIST TN 1900, thermal-expansion example: 1.7266e-5 per kelvin with u = 1.76e-6', () => {
    const { estimate: a } = propagate(
      ({ L0, L1, T0, T1 }) => (L1 - L0) / (L0 * (T1 - T0)),
      { L0: { value: 1.4999, u: 0.0001 }, L1: { value: 1.5021, u: 0.0002 }, T0: { value: 288.15, u: 0.02 }, T1: { value: 373.1, u: 0.05 } },
      { ...about, unit: '1/K' },
    );
    expect((a.value ?? 0) * 1e5).toBeCloseTo(1.7266, 4);
    expect((a.u ?? 0) * 1e6).toBeCloseTo(1.76, 2);
    expect(a.dof).toBeNull(); // all inputs count as known
  });
  test('fully correlated inputs add linearly, opposite ones cancel; wrong names and correlations are refused', () => {
    const two = [{ name: 'a', u: 3, dof: 5 }, { name: 'b', u: 4, dof: 5 }];
    expect(combine(two, [{ a: 'a', b: 'b', r: 1 }]).u).toBeCloseTo(7, 12);
    expect(combine(two, [{ a: 'a', b: 'b', r: -1 }]).u).toBeCloseTo(1, 12);
    expect(combine(two).u).toBeCloseTo(5, 12);
    expect(() => combine(two, [{ a: 'a', b: 'c', r: 1 }])).toThrow(/"c"/);
    expect(() => combine(two, [{ a: 'a', b: 'b', r: 1.1 }])).toThrow(/outside/);
    expect(() => combine([two[0], two[0]])).toThrow(/two inputs are named/);
  });
});

describe('Type A', () => {
  test('the mean of repeats carries s/√n and n − 1; its interval uses Student t', () => {
    const e = typeA([9.8, 10.1, 10.0, 10.3, 9.8], about);
    expect(e).toMatchObject({ value: 10, dof: 4, reason: null });
    expect(e.u).toBeCloseTo(0.2121320343 / Math.sqrt(5), 9);
    const i = expandedInterval(e);
    expect((i.upper ?? 0) - 10).toBeCloseTo(2.7764451 * (e.u ?? 0), 7);
  });
  test('none gives no value, one gives a value without interval, and both say so', () => {
    expect(typeA([], about)).toMatchObject({ value: null, u: null, dof: null, reason: 'no usable repeats' });
    const one = typeA([5], about);
    expect(one).toMatchObject({ value: 5, u: null, dof: null });
    expect(expandedInterval(one)).toMatchObject({ lower: null, upper: null });
    expect(expandedInterval(one).reason).toMatch(/one repeat/);
    expect(typeAPooled([5], { sd: 0.2, dof: 12 }, about)).toMatchObject({ value: 5, u: 0.2, dof: 12 });
  });
  test('extra components widen an estimate and never narrow it; a model without value gives a reason', () => {
    const wider = withComponents(typeA([1, 2, 3], about), [{ name: 're-mount', u: 1, dof: 4 }]);
    expect(wider.u).toBeCloseTo(Math.sqrt(1 / 3 + 1), 12);
    const broken = propagate(({ x }) => Math.log(x), { x: { value: -1, u: 0.1 } }, about).estimate;
    expect(broken).toMatchObject({ value: null, u: null });
    expect(broken.reason).toMatch(/NaN at the best values/);
    const edge = propagate(({ x }) => Math.sqrt(x), { x: { value: 0.05, u: 0.1 } }, about).estimate;
    expect(edge).toMatchObject({ u: null });
    expect(edge.reason).toMatch(/within one standard uncertainty of x/);
  });
});
