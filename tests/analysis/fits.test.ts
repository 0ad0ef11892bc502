// Goal: line, polynomial and nonlinear fits reach certified figures, give honest intervals and refuse what cannot be fitted.
// Method: NIST StRD certified values, GUM H.3, the public "cars" data set (computed with R 4.2.2), simple-statistics.
import fc from 'fast-check';
import * as simple from 'simple-statistics';
import { describe, expect, test } from 'vitest';
import { combine } from '../../src/analysis/stats/uncertainty';
import { evaluateFit, fitLine, fitPolynomial, fitThroughOrigin, predict, slopeOfFit, type PolynomialFit } from '../../src/analysis/stats/linefit';
import { fitNonlinear, type Model } from '../../src/analysis/stats/nonlinear';
import type { NoResult } from '../../src/analysis/stats/check';
import { misra1a, norris, thurber } from './data/nist-strd';

function good<T extends { readonly ok: true }>(fit: T | NoResult): T {
  if (!fit.ok) throw new Error(`expected a fit, got: ${fit.reason}`);
  return fit;
}
const digits = (got: number, certified: number): number => -Math.log10(Math.max(1e-16, Math.abs(got / certified - 1)));
const errors = (fit: PolynomialFit): readonly number[] => fit.standardErrors ?? [];

describe('NIST StRD linear regression, certified values', () => {
  test('Norris to 11 digits or more', () => {
    const fit = good(fitLine(norris.x, norris.y));
    expect(digits(fit.coefficients[0], -0.262323073774029)).toBeGreaterThan(11);
    expect(digits(fit.coefficients[1], 1.00211681802045)).toBeGreaterThan(13);
    expect(digits(errors(fit)[0], 0.232818234301152)).toBeGreaterThan(11);
    expect(digits(errors(fit)[1], 0.429796848199937e-3)).toBeGreaterThan(11);
    expect(digits(fit.residualSd ?? 0, 0.884796396144373)).toBeGreaterThan(11);
    expect(digits(fit.rSquared ?? 0, 0.999993745883712)).toBeGreaterThan(13);
    expect(digits(fit.f ?? 0, 5436385.54079785)).toBeGreaterThan(10);
    expect(fit.residualDof).toBe(34);
  });
  test('NoInt1 (no intercept) to 12 digits', () => {
    const x = [60, 61, 62, 63, 64, 65, 66, 67, 68, 69, 70];
    const fit = good(fitThroughOrigin(x, x.map((v) => v + 70)));
    expect(digits(fit.coefficients[0], 2.07438016528926)).toBeGreaterThan(13);
    expect(digits(errors(fit)[0], 0.165289256198347e-1)).toBeGreaterThan(12);
    expect(digits(fit.residualSd ?? 0, 3.56753034006338)).toBeGreaterThan(12);
    expect(digits(fit.rSquared ?? 0, 0.999365492298663)).toBeGreaterThan(13);
    expect(digits(fit.f ?? 0, 15750.25)).toBeGreaterThan(12);
  });
});

describe('JCGM 100:2008 H.3, thermometer calibration', () => {
  const t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.01, 26.511];
  const b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.16];
  const fit = good(fitLine(t.map((v) => v - 20), b));
  test('intercept, slope, their uncertainties, correlation and residual spread as printed', () => {
    expect(fit.coefficients[0]).toBeCloseTo(-0.1712, 4);
    expect(errors(fit)[0]).toBeCloseTo(0.0029, 4);
    expect(fit.coefficients[1]).toBeCloseTo(0.00218, 5);
    expect(errors(fit)[1]).toBeCloseTo(0.00067, 5);
    expect((fit.covariance?.[0][1] ?? 0) / (errors(fit)[0] * errors(fit)[1])).toBeCloseTo(-0.93, 3);
    expect(fit.residualSd).toBeCloseTo(0.0035, 4);
    expect(fit.residualDof).toBe(9);
    expect(fit.residualSumOfSquares).toBeCloseTo(0.000110096583109, 14);
  });
  test('predicted correction at 30 °C: −0.1494 ± 0.0041', () => {
    const p = predict(fit, 10);
    expect(p.value).toBeCloseTo(-0.1494, 4);
    expect(p.u).toBeCloseTo(0.0041, 4);
  });
  test('an offset common to all readings (u = 0.005) enters the intercept only: 0.005769 (GUM Tree Calculator documentation, H.3)', () => {
    const common = combine([{ name: 'fit', u: errors(fit)[0], dof: 9 }, { name: 'offset', u: 0.005, dof: Infinity }]);
    expect(common.u).toBeCloseTo(0.00576893138292676, 12);
  });
});

describe('cars (R datasets; computed with R 4.2.2)', () => {
  const speed = [4, 4, 7, 7, 8, 9, 10, 10, 10, 11, 11, 12, 12, 12, 12, 13, 13, 13, 13, 14, 14, 14, 14, 15, 15, 15, 16, 16, 17, 17, 17, 18, 18, 18, 18, 19, 19, 19, 20, 20, 20, 20, 20, 22, 23, 24, 24, 24, 24, 25];
  const dist = [2, 10, 4, 22, 16, 10, 18, 26, 34, 17, 28, 14, 20, 24, 28, 26, 34, 34, 46, 26, 36, 60, 80, 20, 26, 54, 32, 40, 32, 40, 50, 42, 56, 76, 84, 36, 46, 68, 32, 48, 52, 56, 64, 66, 54, 70, 92, 93, 120, 85];
  const fit = good(fitLine(speed, dist));
  test('coefficients, standard errors and R² agree, also with simple-statistics', () => {
    expect(digits(fit.coefficients[0], -17.5790948905109)).toBeGreaterThan(12);
    expect(digits(fit.coefficients[1], 3.9324087591241)).toBeGreaterThan(12);
    expect(digits(errors(fit)[0], 6.75844016937923)).toBeGreaterThan(12);
    expect(digits(errors(fit)[1], 0.41551277665712)).toBeGreaterThan(12);
    expect(digits(fit.rSquared ?? 0, 0.65107938075825)).toBeGreaterThan(12);
    const outsider = simple.linearRegression(speed.map((s, i) => [s, dist[i]]));
    expect(fit.coefficients[1]).toBeCloseTo(outsider.m, 9);
    expect(fit.coefficients[0]).toBeCloseTo(outsider.b, 8);
  });
  test('confidence and prediction intervals at 10', () => {
    const p = predict(fit, 10);
    expect(p.value).toBeCloseTo(21.74499270073, 9);
    expect(p.confidenceInterval.lower).toBeCloseTo(15.461917339959, 8);
    expect(p.confidenceInterval.upper).toBeCloseTo(28.028068061501, 8);
    expect(p.predictionInterval.lower).toBeCloseTo(-9.8096007879806, 8);
    expect(p.predictionInterval.upper).toBeCloseTo(53.299586189441, 8);
  });
});

describe('weights, degrees and degenerate input', () => {
  test('equal known sigma gives the unweighted line with an absolute covariance; relative weights act as repeat counts', () => {
    const x = [1, 2, 3, 4];
    const y = [1.1, 1.9, 3.2, 3.8];
    const plain = good(fitLine(x, y));
    const known = good(fitLine(x, y, { sigma: [0.1, 0.1, 0.1, 0.1] }));
    expect(known.coefficients[1]).toBeCloseTo(plain.coefficients[1], 12);
    expect(known.standardErrors?.[1]).toBeCloseTo(0.1 / Math.sqrt(5), 12); // σ/√Sxx
    expect(known.dof).toBeNull();
    expect(predict(known, 2).predictionInterval.lower).toBeNull();
    const counted = good(fitLine([1, 2, 3], [1, 2.5, 2.8], { weights: [1, 3, 1] }));
    const repeated = good(fitLine([1, 2, 2, 2, 3], [1, 2.5, 2.5, 2.5, 2.8]));
    expect(counted.coefficients[0]).toBeCloseTo(repeated.coefficients[0], 12);
    expect(counted.coefficients[1]).toBeCloseTo(repeated.coefficients[1], 12);
  });
  test('a polynomial of the true degree is recovered far from the origin, with its slope', () => {
    fc.assert(fc.property(fc.double({ min: -3, max: 3, noNaN: true }), fc.double({ min: -3, max: 3, noNaN: true }), fc.double({ min: -3, max: 3, noNaN: true }), (a, b, c) => {
      const x = Array.from({ length: 9 }, (_, i) => 100 + i);
      const fit = good(fitPolynomial(x, x.map((v) => a + b * v + c * v * v), { degree: 2 }));
      for (const v of x) {
        expect(Math.abs(evaluateFit(fit, v) - (a + b * v + c * v * v))).toBeLessThan(1e-6);
        expect(Math.abs(slopeOfFit(fit, v) - (b + 2 * c * v))).toBeLessThan(1e-5);
      }
    }), { numRuns: 50, seed: 1 });
  });
  test('too few points and one x only are refused by reason; exactly enough points give no interval', () => {
    expect(fitLine([1], [2])).toMatchObject({ ok: false });
    expect(fitLine([2, 2, 2], [1, 2, 3])).toMatchObject({ ok: false, reason: '3 points at 1 different x cannot determine 2 coefficients' });
    const exact = good(fitLine([1, 2], [3, 5]));
    expect(exact.coefficients[1]).toBeCloseTo(2, 12);
    expect(exact).toMatchObject({ covariance: null, residualSd: null, residualDof: 0 });
    expect(predict(exact, 3)).toMatchObject({ u: null, confidenceInterval: { lower: null } });
    expect(() => fitLine([1, 2], [1, NaN])).toThrow(/y\[1\] of 2 is NaN/);
    expect(() => fitLine([1, 2, 3], [1, 2, 3], { weights: [1, 0, 1] })).toThrow(/weights\[1\] is 0/);
  });
});

describe('NIST StRD nonlinear regression, certified values', () => {
  const saturating: Model = ([b1, b2]) => (x) => b1 * (1 - Math.exp(-b2 * x));
  test.each([[[500, 1e-4]], [[250, 5e-4]]])('Misra1a from start %j to 7 digits', (start) => {
    const fit = good(fitNonlinear(misra1a.x, misra1a.y, saturating, { start, lower: [1, 1e-7], upper: [1e5, 1] }));
    expect(digits(fit.parameters[0], 2.3894212918e2)).toBeGreaterThan(7);
    expect(digits(fit.parameters[1], 5.5015643181e-4)).toBeGreaterThan(7);
    expect(digits(fit.standardErrors?.[0] ?? 0, 2.7070075241)).toBeGreaterThan(5);
    expect(digits(fit.standardErrors?.[1] ?? 0, 7.2668688436e-6)).toBeGreaterThan(5);
    expect(digits(fit.residualSumOfSquares, 1.2455138894e-1)).toBeGreaterThan(9);
    expect(digits(fit.residualSd ?? 0, 1.018787633e-1)).toBeGreaterThan(9);
  });
  test.each([[[1000, 1000, 400, 40, 0.7, 0.3, 0.03]], [[1300, 1500, 500, 75, 1, 0.4, 0.05]]])('Thurber from start %j to 6 digits', (start) => {
    const rational: Model = (b) => (x) => (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1 + x * (b[4] + x * (b[5] + x * b[6])));
    const fit = good(fitNonlinear(thurber.x, thurber.y, rational, { start, lower: [0, 0, 0, 0, 0, 0, 0], upper: [1e5, 1e5, 1e5, 1e4, 100, 100, 100] }));
    const certified = [1.28813968e3, 1.4910792535e3, 5.8323836877e2, 7.5416644291e1, 9.6629502864e-1, 3.9797285797e-1, 4.9727297349e-2];
    const deviations = [4.6647963344, 3.9571156086e1, 2.8698696102e1, 5.567537027, 3.1333340687e-2, 1.4984928198e-2, 6.5842344623e-3];
    certified.forEach((c, k) => {
      expect(digits(fit.parameters[k], c)).toBeGreaterThan(6);
      expect(digits(fit.standardErrors?.[k] ?? 0, deviations[k])).toBeGreaterThan(4);
    });
    expect(digits(fit.residualSumOfSquares, 5.6427082397e3)).toBeGreaterThan(9);
  });
  test('a fit that ends at a bound, explains nothing, has too few points or misses the allowed spread is refused by reason', () => {
    const at = (start: number[], lower: number[], upper: number[], extra = {}) => fitNonlinear(misra1a.x, misra1a.y, saturating, { start, lower, upper, ...extra });
    expect(at([150, 8e-4], [1, 1e-7], [200, 1])).toMatchObject({ ok: false });
    expect(at([250, 5e-4], [1, 1e-7], [1e5, 1], { maxResidualSd: 0.05 })).toMatchObject({ ok: false });
    expect(fitNonlinear([1], [1], saturating, { start: [1, 0.5], lower: [0, 0], upper: [2, 1] })).toMatchObject({ ok: false });
    const flat = fitNonlinear([0, 1, 2, 3, 4, 5], [1, -1, 1, -1, 1, -1], ([a, b]) => (x) => a + 0 * b * x, { start: [0.5, 0.5], lower: [-2, -2], upper: [2, 2] });
    expect(flat).toMatchObject({ ok: false });
    expect(() => at([500, 2], [1, 1e-7], [1e5, 1])).toThrow(/outside its bounds/);
  });
  test('an exponential decay from a poor start either converges to the truth or says that it did not', () => {
    const x = Array.from({ length: 60 }, (_, i) => i * 5);
    const y = x.map((v) => 25 + 40 * (1 - Math.exp(-v / 70)) + 0.05 * Math.sin(7 * v));
    for (const tau of [2, 20, 70, 400, 2000]) {
      const fit = fitNonlinear(x, y, ([a, b, t]) => (v) => a + b * (1 - Math.exp(-v / t)), { start: [20, 10, tau], lower: [-50, 0, 0.1], upper: [150, 500, 1e5] });
      if (fit.ok) expect(fit.parameters[2]).toBeCloseTo(70, 0);
      else expect(fit.reason).toMatch(/converge|bound|constant|determine/);
      if (tau <= 70) expect(fit.ok).toBe(true);
    }
  });
});
