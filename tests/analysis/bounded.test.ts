// Goal: where an error with a bound rules, a 95 % interval holds the truth in 95 of 100 cases, not always.
// Method: a published example, closed forms at both ends, and counting made-up errors with a seed.
import { describe, expect, test } from 'vitest';
import { boundedShare, effectsOnDifference, meanEffects, sizeOf } from '../../src/analysis/campaign/absolute';
import type { Repeat } from '../../src/analysis/campaign/collect';
import { resolutionInputs } from '../../src/analysis/metrics/resolution';
import type { RunChannel } from '../../src/analysis/run-data';
import { factorWithBound } from '../../src/analysis/stats/bounded';
import { coverageFactor } from '../../src/analysis/stats/quantiles';
import { normals, seeded } from './make-run';

describe('factor with a bound', () => {
  // JCGM 101:2008, 9.2.4 and Table 4 (from memory): four rectangles of u 1, 1, 1 and 10; u 10.1, 95 % within ± 17.0, where ± k·u of a normal
  // would be ± 19.9.
  test('one dominating rectangle: the published interval', () => {
    const u = Math.sqrt(103);
    expect(u).toBeCloseTo(10.1, 1);
    expect(factorWithBound(0.95, Infinity, 100 / 103) * u).toBeCloseTo(17, 1);
    expect(factorWithBound(0.95, Infinity, 0) * u).toBeCloseTo(19.9, 1);
  });

  test('a rectangle alone: the middle 95 % of it; none: the factor of t', () => {
    expect(factorWithBound(0.95, Infinity, 1)).toBeCloseTo(0.95 * Math.sqrt(3), 12);
    for (const dof of [3, 8, Infinity]) expect(factorWithBound(0.95, dof, 0)).toBe(coverageFactor(0.95, dof));
  });

  test('it falls as the share grows, is never above that of t, and joins at both ends of its range without a jump', () => {
    let before = Infinity;
    for (let share = 0; share <= 1; share += 0.01) {
      const k = factorWithBound(0.95, Infinity, share);
      expect(k).toBeLessThanOrEqual(before);
      expect(before - k < 0.03 || before === Infinity, `${share}`).toBe(true);
      before = k;
    }
    expect(factorWithBound(0.95, Infinity, 0.2)).toBeGreaterThan(0.99 * factorWithBound(0.95, Infinity, 0.19));
    expect(factorWithBound(0.95, Infinity, 1 - 1e-5)).toBeCloseTo(factorWithBound(0.95, Infinity, 1), 2);
  });

  test('few degrees of freedom of the rest: the factor of t stays', () => {
    expect(factorWithBound(0.95, 6, 0.6)).toBe(coverageFactor(0.95, 6));
    expect(factorWithBound(0.95, 1000, 0.6)).toBeLessThan(coverageFactor(0.95, 1000));
  });

  test('made-up errors: 95 % of 8000 lie inside, with a rest known from four repeats as well', () => {
    const [uniform, normal] = [seeded(11), normals(12)];
    for (const ratio of [0.5, 1, 2, 5]) {
      // A rectangle of ± √3·ratio beside a mean of four normal values with a standard deviation of 2, known from those four.
      let inside = 0;
      const tries = 8000;
      for (let i = 0; i < tries; i++) {
        const four = [normal(), normal(), normal(), normal()].map((v) => 2 * v);
        const mean = four.reduce((a, b) => a + b, 0) / 4;
        const typeA = Math.sqrt(four.reduce((s, v) => s + (v - mean) ** 2, 0) / 3 / 4);
        const u = Math.hypot(typeA, ratio);
        const dof = (u / typeA) ** 4 * 3;
        const error = mean + ratio * Math.sqrt(3) * (2 * uniform() - 1);
        if (Math.abs(error) <= factorWithBound(0.95, dof, (ratio / u) ** 2) * u) inside++;
      }
      // Welch and Satterthwaite are an approximation themselves; 0.25 % is the standard error of the count.
      expect(inside / tries, `${ratio}`).toBeGreaterThan(0.935);
      expect(inside / tries, `${ratio}`).toBeLessThan(0.975);
    }
  });

  test('a share outside 0 to 1 is refused', () => {
    for (const share of [-0.01, 1.01, NaN]) expect(() => factorWithBound(0.95, 5, share)).toThrow('0 to 1');
    for (const share of [0, 1]) expect(() => factorWithBound(0.95, 5, share)).not.toThrow();
  });
});

describe('share of a bound', () => {
  test('the largest effect of coarseness or of the age of samples counts; gains and offsets do not', () => {
    expect(boundedShare({ speed_timing: 2, speed_gain: 9, speed_resolution_17: 4, speed_resolution_drift: -3 }, 10)).toBeCloseTo(0.16, 12);
    expect(boundedShare({ speed_timing: -5, speed_gain: 9, speed_resolution_17: 4 }, 10)).toBeCloseTo(0.25, 12);
    expect(boundedShare({ speed_gain: 9, current_offset: 2 }, 10)).toBe(0);
    expect(boundedShare({ speed_resolution_3: 3 }, 0)).toBe(0);
    expect(boundedShare({ speed_resolution_3: 3 }, null)).toBe(0);
    expect(boundedShare({ speed_resolution_3: 3.001 }, 3)).toBe(1);
    // Those of two settings are two errors.
    expect(boundedShare({ 'speed_resolution_17@1': 3, 'speed_resolution_17@2': -5 }, 10)).toBeCloseTo(0.25, 12);
  });
});

describe('errors by steps over repeats and in differences', () => {
  const STEP = 100;
  const channel = (): RunChannel => {
    const value = Float64Array.from({ length: 200 }, (_, i) => 19_000 + STEP * (i % 20));
    return { kind: 'speed', column: 'speed_rpm', t_s: value.map((_, i) => i / 1000), value, period_s: 0.001, u_gain: 0, u_offset: 0, filter_Hz: null, averaged: 1, placement: null, impossible: 0 };
  };
  const repeat = (value: number): Repeat => ({ run: `${value}`, index: 1, setting: 'a', mounting: 1, kind: 'cell', value, effects: resolutionInputs(channel(), value, 7), flags: [] });
  const size = (values: readonly number[]): number => sizeOf(meanEffects(values.map(repeat)));

  test('values at one place share the error; a quarter of a step or more apart they do not, and it averages out', () => {
    expect(size([20_030, 20_030, 20_030])).toBeCloseTo(7, 9);
    expect(size([20_030, 20_033])).toBeCloseTo(7, 9);
    expect(size([20_030, 20_055])).toBeCloseTo(7 * Math.SQRT1_2, 9);
    expect(size([20_030, 20_130])).toBeCloseTo(7 * Math.SQRT1_2, 9);
    expect(size([20_000, 20_025, 20_050, 20_075])).toBeCloseTo(3.5, 9);
    expect(resolutionInputs(channel(), 20_030, 0)).toEqual({});
    expect(Object.keys(resolutionInputs(channel(), 20_030, 1))).toEqual(['speed_resolution_20000+1/4']);
    expect(Object.keys(resolutionInputs(channel(), 19_990, 1))).toEqual(['speed_resolution_20000']);
    expect(Object.keys(resolutionInputs({ ...channel(), block: 4 }, 20_030, 1))).toHaveLength(1);
  });

  test('between settings both count, wherever they lie; a gain that both share cancels', () => {
    const [a, b] = [20_030, 20_030].map((v) => ({ ...repeat(v).effects, speed_gain: 5 }));
    const apart = effectsOnDifference(a, b);
    expect(apart.speed_gain).toBe(0);
    expect(sizeOf(apart)).toBeCloseTo(7 * Math.SQRT2, 9);
  });
});
