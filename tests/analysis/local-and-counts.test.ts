// Goal: figures read at one place of a curve are unbiased there, and rare events get an exact interval.
// Method: curves with a kink elsewhere, noise of known size; published tables of Poisson limits; the definition of the limits.
import { describe, expect, test } from 'vitest';
import { crossingOf, localParabola } from '../../src/analysis/curves/local';
import { garwood } from '../../src/analysis/stats/poisson';
import { normals } from './make-run';

const grid = Array.from({ length: 91 }, (_, i) => 0.1 + 0.01 * i);

describe('a parabola near a place', () => {
  test('is the curve itself where that is a parabola, at the ends too, and says that nothing scatters', () => {
    const f = (x: number): number => 1 + 2 * x + 3 * x * x;
    const points = { x: grid, y: grid.map(f) };
    for (const at of [0.1, 0.5, 1]) {
      const local = localParabola(points, at, 0.04);
      if (local === null) throw new Error('no fit');
      expect(local.at(at)).toBeCloseTo(f(at), 10);
      expect(local.slopeAt(at)).toBeCloseTo(2 + 6 * at, 8);
      expect(local.errorAt(at)).toBeLessThan(1e-9);
    }
  });

  test('does not feel a kink that lies outside its window, and owns up to one inside', () => {
    const kinked = { x: grid, y: grid.map((x) => x + 5 * Math.max(0, x - 0.6)) };
    expect(localParabola(kinked, 0.55, 0.04)?.at(0.55)).toBeCloseTo(0.55, 10);
    expect(localParabola(kinked, 0.6, 0.04)?.errorAt(0.6) ?? 0).toBeGreaterThan(0.005);
  });

  test('its standard error is the scatter that other noise gives', () => {
    const next = normals(7);
    const values: number[] = [];
    const errors: number[] = [];
    for (let k = 0; k < 400; k++) {
      const local = localParabola({ x: grid, y: grid.map((x) => x * x + 0.01 * next()) }, 0.5, 0.04);
      if (local === null) throw new Error('no fit');
      values.push(local.at(0.5) - 0.25);
      errors.push(local.errorAt(0.5) ** 2);
    }
    const mean = (a: number[]): number => a.reduce((s, v) => s + v, 0) / a.length;
    const sd = Math.sqrt(mean(values.map((v) => v * v)));
    expect(Math.sqrt(mean(errors)) / sd).toBeGreaterThan(0.85);
    expect(Math.sqrt(mean(errors)) / sd).toBeLessThan(1.15);
    expect(Math.abs(mean(values))).toBeLessThan(4 * sd / Math.sqrt(400));
  });

  test('six points make one, five do not', () => {
    const points = (n: number) => ({ x: Array.from({ length: n }, (_, i) => i), y: Array.from({ length: n }, (_, i) => i) });
    expect(localParabola(points(5), 2, 10)).toBeNull();
    expect(localParabola(points(6), 2, 2.5)).not.toBeNull();
  });

  test('one set of points asked for in turn at several places and widths answers each', () => {
    const points = { x: grid, y: grid.map((x) => Math.sin(6 * x)) };
    const asked = [[0.3, 0.04], [0.3, 0.04], [0.3, 0.1], [0.7, 0.1], [0.7, 0.04], [0.3, 0.04]] as const;
    for (const [at, width] of asked) expect(localParabola(points, at, width)?.at(at)).toBe(localParabola({ ...points }, at, width)?.at(at));
    expect(new Set(asked.map(([at, width]) => localParabola(points, at, width)?.at(at))).size).toBe(4);
  });

  test('where it passes a value is found inside the window, and nowhere else', () => {
    const local = localParabola({ x: grid, y: grid.map((x) => x * x) }, 0.5, 0.04);
    if (local === null) throw new Error('no fit');
    expect(crossingOf(local, 0.49 ** 2, 0.5)).toBeCloseTo(0.49, 9);
    expect(crossingOf(local, 0.6 ** 2, 0.5)).toBeNull();
  });
});

describe('rare events', () => {
  // Garwood, Biometrika 28 (1936) 437, as in Pearson & Hartley, Biometrika Tables for Statisticians 1, table 40 (values from memory).
  test.each([[0, 0, 3.689], [1, 0.0253, 5.572], [2, 0.242, 7.225], [5, 1.623, 11.668], [10, 4.795, 18.390], [50, 37.11, 65.92]])('%i events: %f to %f', (events, lower, upper) => {
    const { rate, interval } = garwood(events, 1);
    expect(rate).toBe(events);
    if (interval.reason !== null) throw new Error(interval.reason);
    expect(interval.lower).toBeCloseTo(lower, events === 50 ? 2 : 3);
    expect(interval.upper).toBeCloseTo(upper, events === 50 ? 2 : 3);
  });

  test('at either limit the events seen are just as improbable as the confidence allows', () => {
    const pmf = (k: number, mean: number): number => { let p = Math.exp(-mean); for (let i = 1; i <= k; i++) p *= mean / i; return p; };
    const cdf = (k: number, mean: number): number => Array.from({ length: k + 1 }, (_, i) => pmf(i, mean)).reduce((a, b) => a + b, 0);
    const { interval } = garwood(7, 1);
    if (interval.reason !== null) throw new Error(interval.reason);
    expect(cdf(7, interval.upper)).toBeCloseTo(0.025, 8);
    expect(1 - cdf(6, interval.lower)).toBeCloseTo(0.025, 8);
  });

  test('events spread over runs count as a rate; no runs give none; a fraction of an event is refused', () => {
    expect(garwood(5, 5)).toMatchObject({ rate: 1, interval: { lower: expect.closeTo(1.623 / 5, 3) as number } });
    expect(garwood(0, 0)).toMatchObject({ rate: null, interval: { reason: 'no runs' } });
    expect(() => garwood(0.5, 1)).toThrow('not a count');
  });
});
