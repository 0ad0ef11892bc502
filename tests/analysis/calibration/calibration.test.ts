// Goal: laws of a calibration, their covariance and their uncertainty are those of the published worked example, and of data whose truth is known.
// Method: JCGM 100:2008 Annex H.3 in full; seeded points with known errors; ASTM B258 wire table. Both sides of each boundary.
import { describe, expect, test } from 'vitest';
import { budgetOf, meanOfRatios } from '../../../src/analysis/calibration/budget';
import { awgDiameter_m, awgResistance_ohm_per_m, leadPair_ohm } from '../../../src/analysis/calibration/copper';
import { curvature, fitLaw, hysteresisOf, predictChange, predictLaw, slopeProblem, type CalibrationPoint, type LawFit } from '../../../src/analysis/calibration/fit';

function law(points: readonly CalibrationPoint[], degree: 1 | 2, zero = 0): LawFit {
  const fit = fitLaw(points, degree, zero);
  if (!fit.ok) throw new Error(fit.reason);
  return fit;
}

function normal(seed: number): () => number {
  let state = seed >>> 0;
  const uniform = (): number => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return (state + 0.5) / 2 ** 32;
  };
  return () => Math.sqrt(-2 * Math.log(uniform())) * Math.cos(2 * Math.PI * uniform());
}

describe('JCGM 100:2008 Annex H.3: calibration of a thermometer', () => {
  // Table H.6: readings t and observed corrections b; reference temperature 20 °C.
  const t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511];
  const b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160];
  const line = law(t.map((counts, i) => ({ counts, applied: b[i], direction: 'up' })), 1, 20);

  test('intercept, slope, their standard deviations and correlation as printed', () => {
    const [[v00, v01], [, v11]] = line.fit.covariance!;
    expect(line.c0).toBeCloseTo(-0.1712, 4);
    expect(line.c1).toBeCloseTo(0.00218, 5);
    expect(Math.sqrt(v00)).toBeCloseTo(0.0029, 4);
    expect(Math.sqrt(v11)).toBeCloseTo(0.00067, 5);
    expect(v01 / Math.sqrt(v00 * v11)).toBeCloseTo(-0.930, 3);
    expect(line.residualSd).toBeCloseTo(0.0035, 4);
    expect(line.dof).toBe(9);
  });

  test('predicted correction at 30 °C: −0.1494 °C with 0.0041 °C', () => {
    const { value, u } = predictLaw(line, 30);
    expect(value).toBeCloseTo(-0.1494, 4);
    expect(u).toBeCloseTo(0.0041, 4);
  });

  test('the residuals are observed less predicted, and sum to nothing', () => {
    expect(line.residuals[0]).toBeCloseTo(b[0] - predictLaw(line, t[0]).value, 12);
    expect(line.residuals.reduce((a, r) => a + r, 0)).toBeCloseTo(0, 12);
  });
});

describe('laws', () => {
  const points = (f: (x: number) => number, noise = 0, seed = 1): CalibrationPoint[] => {
    const n = normal(seed);
    return [0, 1000, 2000, 3000, 4000, 3000, 2000, 1000, 0].map((x, i) => ({ counts: 8000 + x, applied: f(x) + noise * n(), direction: i < 5 ? 'up' : 'down' }));
  };

  test('a parabola is found as it was made; a line is left a line', () => {
    const q = law(points((x) => 0.1 + 5e-4 * x + 2e-9 * x * x), 2, 8000);
    expect(q.c0).toBeCloseTo(0.1, 10);
    expect(q.c1).toBeCloseTo(5e-4, 12);
    expect(q.c2).toBeCloseTo(2e-9, 15);
    expect(law(points((x) => 5e-4 * x), 1, 8000).c2).toBe(0);
  });

  test('curvature stands out where there is some, and mostly not where there is none', () => {
    const seen = (curve: number): number => Array.from({ length: 50 }, (_, seed) => curvature(points((x) => 5e-4 * x + curve * x * x, 1e-3, seed + 1), 8000)).filter((c) => 'ratio' in c && c.ratio > 4).length;
    expect(seen(0)).toBeLessThanOrEqual(1);
    expect(seen(2e-9)).toBe(50);
  });

  test.each([[3, 1, false], [4, 1, true], [4, 2, false], [5, 2, true]] as const)('%i points, degree %i: enough is %s', (n, degree, enough) => {
    const all = points((x) => 5e-4 * x, 1e-4).slice(0, n);
    expect(fitLaw(all, degree, 8000).ok).toBe(enough);
  });

  test('counts that do not follow what was applied are refused', () => {
    const n = normal(3);
    const dead = Array.from({ length: 9 }, (_, i) => ({ counts: 8000 + n(), applied: i / 4, direction: 'up' as const }));
    expect(slopeProblem(law(dead, 1, 8000))).toMatch(/hardly follow/);
    expect(slopeProblem(law(points((x) => 5e-4 * x, 1e-4), 1, 8000))).toBeNull();
    const same = Array.from({ length: 9 }, (_, i) => ({ counts: 8000 + i, applied: 1, direction: 'up' as const }));
    expect(fitLaw(same, 1, 8000).ok).toBe(false);
  });

  test('hysteresis is the largest difference between ways at the same load; null when only one way was taken', () => {
    const both = points((x) => 5e-4 * x).map((p) => ({ ...p, counts: p.counts + (p.direction === 'down' && p.counts !== 8000 ? 4 : 0) }));
    expect(hysteresisOf(law(both, 1, 8000), both, 1e-6)).toBeCloseTo(4 * 5e-4, 5);
    const up = both.filter((p) => p.direction === 'up');
    expect(hysteresisOf(law(up, 1, 8000), up, 1e-6)).toBeNull();
  });
});

describe('what is known afterwards', () => {
  test('stated uncertainties hold: scatter of the fit over seeds, error of the gain in units of its uncertainty', () => {
    const z: number[] = [];
    const offsets: number[] = [];
    for (let seed = 1; seed <= 200; seed++) {
      const n = normal(seed);
      const reference = 1 + 5e-4 * n(); // one error of all masses together
      const all = [0, 0.5, 1, 1.5, 2, 1.5, 1, 0.5, 0].map((si, i): CalibrationPoint => ({ applied: si, counts: 8000 + (si * reference) / 5e-4 + n(), direction: i < 5 ? 'up' : 'down' }));
      const line = law(all, 1, 8000);
      const budget = budgetOf(line, { u_reference: 5e-4, hysteresis: null, creep: null, span: { from: 0, to: 2 } });
      z.push((line.c1 / 5e-4 - 1) / budget.u_gain);
      offsets.push(line.c0 / Math.sqrt(line.fit.covariance![0][0]));
    }
    const rms = (v: readonly number[]): number => Math.sqrt(v.reduce((s, x) => s + x * x, 0) / v.length);
    // 200 values: the rms of a unit normal lies within ±15 % (three standard deviations); t with 7 degrees widens it a little.
    expect(rms(z)).toBeGreaterThan(0.85);
    expect(rms(z)).toBeLessThan(1.2);
    expect(rms(offsets)).toBeGreaterThan(0.85);
    expect(rms(offsets)).toBeLessThan(1.4);
  });

  test('parts add as squares; hysteresis and creep are rectangular and referred to half the span (GUM 4.3.7)', () => {
    const exact = [0, 1, 2, 3, 4].map((x): CalibrationPoint => ({ applied: x / 2, counts: 1000 * x, direction: 'up' }));
    const budget = budgetOf(law(exact, 1), { u_reference: 3e-3, hysteresis: 0.004 * Math.sqrt(12), creep: null, span: { from: 0, to: 2 } });
    expect(budget.parts.hysteresis).toBeCloseTo(4e-3, 10);
    expect(budget.u_gain).toBeCloseTo(5e-3, 8);
    expect(budget.parts.creep).toBe(0);
  });

  test('a change from zero leaves the constant term out', () => {
    const all = [0, 1, 2, 3, 4].map((x, i): CalibrationPoint => ({ applied: x + [0.01, -0.01, 0.02, -0.02, 0][i], counts: x, direction: 'up' }));
    const line = law(all, 1);
    expect(predictChange(line, 0)).toEqual({ value: 0, u: 0 });
    expect(predictChange(line, 4).u).toBeCloseTo(4 * line.fit.standardErrors![1], 12);
  });

  test('a factor or a constant: mean, scatter over the root of n, and the reference', () => {
    const { value, u, dof } = meanOfRatios([1.001, 1.003, 1.002, 1.002], 0);
    expect(value).toBeCloseTo(1.002, 12);
    expect(u).toBeCloseTo(Math.sqrt(2e-6 / 3) / 2 / 1.002, 9);
    expect(dof).toBe(3);
    expect(meanOfRatios([1, 1], 4e-4).u).toBe(4e-4);
    expect(() => meanOfRatios([1], 0)).toThrow(/two at least/);
  });
});

describe('copper leads (ASTM B258; resistivity 1.7241 µΩ·cm at 20 °C)', () => {
  // Diameters in millimetres and Ω/m as published wire tables print them.
  test.each([[10, 2.588, 0.00328], [12, 2.053, 0.00521], [14, 1.628, 0.00829], [16, 1.291, 0.0132], [18, 1.024, 0.0210], [20, 0.8118, 0.0333], [22, 0.6438, 0.0530], [24, 0.5106, 0.0842]])('AWG %i: %f mm, %f Ω/m', (gauge, mm, ohm) => {
    expect(awgDiameter_m(gauge) * 1000).toBeCloseTo(mm, 3);
    expect(Math.abs(awgResistance_ohm_per_m(gauge) / ohm - 1)).toBeLessThan(0.005);
  });

  test('six gauges halve the diameter, three halve the area (rule of the trade that follows from the formula)', () => {
    expect(awgDiameter_m(10) / awgDiameter_m(16)).toBeCloseTo(2, 1);
    expect(awgResistance_ohm_per_m(13) / awgResistance_ohm_per_m(10)).toBeCloseTo(2, 1);
  });

  test('a pair counts both ways, and warm copper more', () => {
    expect(leadPair_ohm(14, 0.3)).toBeCloseTo(0.6 * awgResistance_ohm_per_m(14), 15);
    expect(leadPair_ohm(14, 0.3, 80) / leadPair_ohm(14, 0.3)).toBeCloseTo(1.2358, 4);
  });

  test('only gauges that exist', () => {
    for (const gauge of [-4, 41, 10.5]) expect(() => awgDiameter_m(gauge)).toThrow(RangeError);
    for (const gauge of [-3, 40]) expect(awgDiameter_m(gauge)).toBeGreaterThan(0);
  });
});
