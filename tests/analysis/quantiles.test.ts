// Goal: the distribution wrappers give the quantiles that verdicts rest on.
// Method: tables computed with SciPy 1.17.1, GUM Table G.2, and jstat as a general library that did not do the computing.
import jstat from 'jstat';
import { describe, expect, test } from 'vitest';
import { dunnettCdf, dunnettQuantile } from '../../src/analysis/stats/dunnett';
import {
  chi2Quantile, chi2UpperP, coverageFactor, fQuantile, fUpperP, noncentralTCdf, normalCdf, normalQuantile, studentizedRangeQuantile,
  studentizedRangeUpperP, tCdf, tQuantile, tTwoSidedP,
} from '../../src/analysis/stats/quantiles';
import { chiSquared, f, studentT, studentizedRange } from './data/quantiles';

const relative = (a: number, b: number): number => Math.abs(a / b - 1);

describe('against SciPy 1.17.1', () => {
  test('t quantiles agree to 11 digits, and the distribution function inverts them', () => {
    for (const [p, dof, q] of studentT) {
      expect(relative(tQuantile(p, dof), q)).toBeLessThan(2e-11);
      expect(tCdf(q, dof)).toBeCloseTo(p, 10);
    }
  });
  test('F and chi-squared quantiles agree to 11 digits, and upper tails invert them', () => {
    for (const [p, d1, d2, q] of f) {
      expect(relative(fQuantile(p, d1, d2), q)).toBeLessThan(2e-11);
      expect(fUpperP(q, d1, d2)).toBeCloseTo(1 - p, 10);
    }
    for (const [p, dof, q] of chiSquared) {
      expect(relative(chi2Quantile(p, dof), q)).toBeLessThan(1e-10);
      expect(chi2UpperP(q, dof)).toBeCloseTo(1 - p, 9);
    }
  });
  test('studentized-range quantiles agree to six digits and their tail to 1e-6', () => {
    for (const [p, groups, dof, q] of studentizedRange) {
      expect(relative(studentizedRangeQuantile(p, groups, dof), q)).toBeLessThan(1e-6);
      expect(Math.abs(studentizedRangeUpperP(q, groups, dof) - (1 - p))).toBeLessThan(1e-6);
    }
  });
  test('the studentized range equals high-precision integrals to 1e-8 (SciPy, studentized_range_mpmath_ref.json)', () => {
    const cases: [number, number, number, number][] = [
      [0.1, 3, 3, 0.0027502772229359594], [0.1, 3, 120, 0.002752755744313648], [1, 3, 3, 0.22331624289542043], [1, 20, 3, 0.000092267674885784],
      [4, 3, 3, 0.8711786295203324], [4, 10, 3, 0.6164875232404174], [4, 20, 100, 0.6466699776044968], [10, 20, 3, 0.9312318042339768], [10, 3, 3, 0.9881335633712994],
    ];
    for (const [q, groups, dof, below] of cases) expect(Math.abs(1 - studentizedRangeUpperP(q, groups, dof) - below)).toBeLessThan(1e-8);
  });
  // The range of two values is √2 times the size of their t, and one comparison with a baseline is a t, so Student's distribution
  // (@stdlib/stats-base-dists-t-cdf, which had no part in the computing) tells both, however far out.
  test.each([2, 4, 8, 20, 100, 1000])('two groups are Student\'s t to 1e-9, near and far (%f degrees of freedom)', (dof) => {
    for (const q of [0.5, 1, 2, 4, 7.9, 8, 12, 15.9, 16, 23.9, 24, 40, 80, 160, 600]) {
      expect(Math.abs(studentizedRangeUpperP(q, 2, dof) - tTwoSidedP(q / Math.SQRT2, dof))).toBeLessThan(1e-9);
      expect(Math.abs(1 - dunnettCdf(q, [5], 5, dof) - tTwoSidedP(q, dof))).toBeLessThan(1e-7);
    }
  });
  test('Dunnett quantiles agree with direct quadrature (SciPy 1.17.1, quad over the normal and chi densities)', () => {
    expect(dunnettQuantile(0.95, [5, 5], 5, 10)).toBeCloseTo(2.56833887585, 7);
    expect(dunnettQuantile(0.95, [5, 5, 5], 5, 20)).toBeCloseTo(2.54034960997, 7);
    expect(dunnettQuantile(0.95, [4, 6, 5], 5, 16)).toBeCloseTo(2.59329765858, 7);
  });
});

test('Dunnett quantiles round to the two-sided 5 % table of Dunnett, Biometrics 20 (1964) 482 (from memory)', () => {
  const table: [number, number, number][] = [[2, 10, 2.57], [3, 10, 2.76], [2, 20, 2.38], [3, 20, 2.54], [2, Infinity, 2.21], [3, Infinity, 2.35], [2, 5, 3.03]];
  for (const [k, dof, d] of table) expect(dunnettQuantile(0.95, new Array<number>(k).fill(6), 6, dof)).toBeCloseTo(d, 2);
});

test('studentized ranges round to the printed tables', () => {
  // NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.7.1: q at 5 %, 5 groups and 10 degrees of freedom is 4.65.
  expect(studentizedRangeQuantile(0.95, 5, 10)).toBeCloseTo(4.65, 2);
  // Harter, Annals of Mathematical Statistics 31 (1960) 1122, upper 5 and 1 % points (from memory).
  const table: [number, number, number, number][] = [
    [0.95, 2, Infinity, 2.77], [0.95, 3, Infinity, 3.31], [0.95, 10, Infinity, 4.47], [0.95, 3, 10, 3.88], [0.95, 4, 20, 3.96], [0.95, 20, 120, 5.13], [0.95, 10, 5, 6.99],
    [0.99, 3, 10, 5.27], [0.99, 4, 20, 5.02], [0.99, 2, Infinity, 3.64],
  ];
  for (const [p, groups, dof, q] of table) expect(Number(studentizedRangeQuantile(p, groups, dof).toFixed(2)), `${p} ${groups} ${dof}`).toBe(q);
});

test('a range of two is √2 times Student t, at any degrees of freedom', () => {
  for (const dof of [2, 3.7, 9, 44, 1000]) expect(studentizedRangeQuantile(0.95, 2, dof)).toBeCloseTo(Math.SQRT2 * coverageFactor(0.95, dof), 6);
});

test('noncentral t is the normal where the spread is known, and mirrors itself when both signs turn', () => {
  expect(noncentralTCdf(1.3, Infinity, 0.4)).toBeCloseTo(normalCdf(0.9), 12);
  for (const dof of [3, 12, 80]) for (const [t, ncp] of [[2.2, 1.5], [12, 9], [-1, 2]]) expect(noncentralTCdf(t, dof, ncp)).toBeCloseTo(1 - noncentralTCdf(-t, dof, -ncp), 9);
});

test('one Dunnett comparison is Student t; more comparisons need a wider factor, but less than Bonferroni', () => {
  for (const dof of [2, 5, 16, 60]) {
    expect(dunnettQuantile(0.95, [4], 7, dof)).toBeCloseTo(coverageFactor(0.95, dof), 6);
    const three = dunnettQuantile(0.95, [5, 5, 5], 5, dof);
    expect(three).toBeGreaterThan(coverageFactor(0.95, dof));
    expect(three).toBeLessThan(coverageFactor(1 - 0.05 / 3, dof));
    expect(dunnettCdf(three, [5, 5, 5], 5, dof)).toBeCloseTo(0.95, 8);
  }
});

test('two-sided t factors round to GUM (JCGM 100:2008) Table G.2', () => {
  const table: [number, number, number, number][] = [
    [0.6827, 1, 1.84, 2], [0.95, 1, 12.71, 2], [0.9973, 5, 5.51, 2], [0.9, 20, 1.72, 2], [0.95, 20, 2.09, 2], [0.9, 10, 1.81, 2],
    [0.99, 11, 3.11, 2], [0.9973, 1, 235.8, 1], [0.9973, 2, 19.21, 2], [0.9545, Infinity, 2, 2], [0.9973, Infinity, 3, 2],
  ];
  for (const [p, dof, t, digits] of table) expect(Number(coverageFactor(p, dof).toFixed(digits))).toBe(t);
});

test('jstat, at its own accuracy, gives the same t, F, chi-squared and normal values', () => {
  for (const dof of [3, 7.5, 24]) {
    expect(tCdf(1.7, dof)).toBeCloseTo(jstat.studentt.cdf(1.7, dof), 6);
    expect(chi2UpperP(9.1, dof)).toBeCloseTo(1 - jstat.chisquare.cdf(9.1, dof), 6);
    expect(fUpperP(2.2, 4, dof)).toBeCloseTo(1 - jstat.centralF.cdf(2.2, 4, dof), 6);
  }
  expect(normalCdf(1.3)).toBeCloseTo(jstat.normal.cdf(1.3, 0, 1), 6);
});

test('t goes over into the normal without a jump, keeps tiny tails, and noncentral t is central at 0', () => {
  expect(tQuantile(0.975, 1e7)).toBeCloseTo(normalQuantile(0.975), 6);
  expect(tQuantile(0.975, Infinity)).toBe(normalQuantile(0.975));
  expect(tTwoSidedP(40, 30)).toBeGreaterThan(0);
  expect(tTwoSidedP(40, 30)).toBeLessThan(1e-25);
  expect(fUpperP(5e6, 1, 34)).toBeGreaterThan(0);
  expect(noncentralTCdf(1.2, 9, 0)).toBeCloseTo(tCdf(1.2, 9), 10);
});

test('arguments outside the domain are named, never answered with NaN', () => {
  expect(() => tQuantile(1, 5)).toThrow(/probability is 1/);
  expect(() => tQuantile(0.9, 0)).toThrow(/degrees of freedom is 0/);
  expect(() => coverageFactor(NaN, 5)).toThrow(/confidence is NaN/);
  expect(() => studentizedRangeQuantile(0.95, 1, 5)).toThrow(/2 or more groups/);
  expect(() => studentizedRangeQuantile(0.95, 3, 1)).toThrow(/degrees of freedom/);
  expect(() => dunnettCdf(2, [], 4, 5)).toThrow(/repeats on every side/);
});
