// Goal: monotone curves stay monotone, inverses invert, and expo matching says its direction and what it leaves over.
// Method: the R isoreg example, exact polynomials, and properties checked over random inputs with fast-check.
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { expo, expoInverse, fitExpo, matchThrottle } from '../../src/analysis/curves/expo';
import { antitonic, isotonic } from '../../src/analysis/curves/isotonic';
import { fitMonotone, type MonotoneFit } from '../../src/analysis/curves/monotone-fit';
import { nonNegativeLeastSquares } from '../../src/analysis/curves/nnls';
import { invert, pchip, type Curve } from '../../src/analysis/curves/pchip';

const number = (min: number, max: number) => fc.double({ min, max, noNaN: true });
const rising = (v: ArrayLike<number>, slack = 0): boolean => Array.from(v).every((x, i, all) => i === 0 || x >= all[i - 1] - slack);

describe('isotonic regression', () => {
  test('the example of the R isoreg documentation, and a second one (R 4.2.2)', () => {
    expect(Array.from(isotonic([1, 0, 4, 3, 3, 5, 4, 2, 0]))).toEqual([0.5, 0.5, 3, 3, 3, 3, 3, 3, 3]);
    expect(Array.from(isotonic([3, 1, 2, 5, 4, 6]))).toEqual([2, 2, 2, 4.5, 4.5, 6]);
    expect(Array.from(antitonic([1, 3, 2]))).toEqual([2, 2, 2]);
    expect(isotonic([])).toHaveLength(0);
  });
  test('always rises, keeps the weighted mean, leaves rising data alone and repeats itself', () => {
    fc.assert(fc.property(fc.array(fc.tuple(number(-100, 100), number(0.1, 10)), { minLength: 1, maxLength: 40 }), (pairs) => {
      const y = pairs.map(([v]) => v);
      const w = pairs.map(([, v]) => v);
      const fit = isotonic(y, w);
      expect(rising(fit)).toBe(true);
      const total = (v: ArrayLike<number>): number => Array.from(v).reduce((s, x, i) => s + x * w[i], 0);
      expect(Math.abs(total(fit) - total(y))).toBeLessThan(1e-8);
      expect(Array.from(isotonic(fit, w))).toEqual(Array.from(fit));
      const sorted = [...y].sort((a, b) => a - b);
      isotonic(sorted, w).forEach((v, i) => { expect(Math.abs(v - sorted[i])).toBeLessThan(1e-9); });
    }), { numRuns: 200, seed: 3 });
  });
  test('weights must be positive and numbers finite', () => {
    expect(() => isotonic([1, 2], [1, 0])).toThrow(/weights\[1\] is 0/);
    expect(() => isotonic([1, Infinity])).toThrow(/y\[1\] of 2 is Infinity/);
  });
});

describe('monotone interpolation', () => {
  const points = fc.array(fc.tuple(number(0.01, 1), number(0, 5)), { minLength: 2, maxLength: 12 }).map((steps) => {
    const x: number[] = [];
    const y: number[] = [];
    steps.forEach(([dx, dy], i) => { x.push((x[i - 1] ?? 0) + dx); y.push((y[i - 1] ?? 0) + dy); });
    return { x, y };
  });
  test('passes through its points and rises wherever they rise', () => {
    fc.assert(fc.property(points, ({ x, y }) => {
      const c = pchip(x, y);
      x.forEach((v, i) => { expect(c.at(v)).toBe(y[i]); });
      const fine = Array.from({ length: 200 }, (_, i) => c.at(c.from + ((c.to - c.from) * i) / 199));
      expect(rising(fine, 1e-12 * (1 + y[y.length - 1]))).toBe(true);
    }), { numRuns: 150, seed: 4 });
  });
  test('straight data give a straight line; the value stays at its ends outside', () => {
    const c = pchip([0, 1, 3], [1, 3, 7]);
    for (const v of [0.2, 0.9, 1.7, 2.9]) expect(c.at(v)).toBeCloseTo(1 + 2 * v, 12);
    expect(c.at(-5)).toBe(1);
    expect(c.at(9)).toBe(7);
    expect(() => pchip([0, 0], [1, 2])).toThrow(/must increase/);
    expect(() => pchip([0], [1])).toThrow(/two or more points/);
  });
  test('the inverse leads back to the value, never extrapolates, and says what the curve reaches', () => {
    fc.assert(fc.property(points, number(0, 1), ({ x, y }, part) => {
      const c = pchip(x, y);
      const wanted = y[0] + part * (y[y.length - 1] - y[0]);
      const found = invert(c, wanted);
      expect(found.x).not.toBeNull();
      expect(Math.abs(c.at(found.x ?? NaN) - wanted)).toBeLessThan(1e-9 * (1 + y[y.length - 1]) * 100);
    }), { numRuns: 150, seed: 5 });
    const c = pchip([0, 1], [0, 10]);
    expect(invert(c, 10.001)).toEqual({ x: null, reason: '10.001 is outside the curve\'s values 0..10' });
    expect(invert(c, 10).x).toBeCloseTo(1, 12);
    expect(invert(c, 0).x).toBe(0);
    expect(invert(c, NaN).x).toBeNull();
  });
});

describe('monotone fit', () => {
  const fitted = (x: ArrayLike<number>, y: ArrayLike<number>, o = {}): MonotoneFit => {
    const f = fitMonotone(x, y, o);
    if (!f.ok) throw new Error(f.reason);
    return f;
  };
  test('lines, rising parabolas and cubics are reproduced to rounding, with slope', () => {
    const x = Array.from({ length: 101 }, (_, i) => i / 100);
    for (const f of [(v: number) => 3 + 2 * v, (v: number) => 5 * v * v, (v: number) => v ** 3 + v]) {
      const fit = fitted(x, x.map(f));
      for (const v of [0, 0.05, 0.333, 0.5, 0.99, 1]) {
        expect(fit.at(v)).toBeCloseTo(f(v), 9);
        expect(fit.slopeAt(v)).toBeCloseTo((f(v + 1e-6) - f(v - 1e-6)) / 2e-6, 4);
      }
    }
  });
  test('rises for any data, and falling data give their mean', () => {
    fc.assert(fc.property(fc.array(number(-10, 10), { minLength: 5, maxLength: 60 }), (y) => {
      const fit = fitted(y.map((_, i) => i), y);
      const fine = Array.from({ length: 120 }, (_, i) => fit.at((i * (y.length - 1)) / 119));
      expect(rising(fine, 1e-9)).toBe(true);
    }), { numRuns: 60, seed: 6 });
    const flat = fitted([0, 1, 2, 3, 4], [5, 4, 3, 2, 1]);
    expect(flat.at(0)).toBeCloseTo(3, 9);
    expect(flat.at(4)).toBeCloseTo(3, 9);
  });
  test('7000 noisy samples of a thrust-like curve: within 2 % of full scale everywhere, and inverse leads back', () => {
    let s = 9;
    const noise = (): number => { s = (s * 48271) % 2147483647; return s / 2147483647 - 0.5; };
    const x = Float64Array.from({ length: 7000 }, (_, i) => i / 6999);
    const fit = fitted(x, x.map((v) => 5 * v * v + noise()));
    for (let v = 0; v <= 1; v += 0.05) expect(Math.abs(fit.at(v) - 5 * v * v)).toBeLessThan(0.1);
    expect(fit.at(invert(fit, 2).x ?? NaN)).toBeCloseTo(2, 9);
  });
  test('too few points are refused by reason', () => {
    expect(fitMonotone([1, 2, 3], [1, 2, 3])).toMatchObject({ ok: false });
    expect(fitMonotone([1, 1, 2, 2], [1, 2, 3, 4])).toMatchObject({ ok: false, reason: 'the points lie at 2 different x only; 4 or more are needed' });
  });
  test('non-negative least squares meets the optimality conditions', () => {
    fc.assert(fc.property(fc.array(fc.array(number(-1, 1), { minLength: 3, maxLength: 3 }), { minLength: 6, maxLength: 8 }), (rows) => {
      const a = rows.map((r, i) => [...r.map((v, k) => v + (i % 3 === k ? 2 : 0))]);
      const b = rows.map((r, i) => Math.sin(7 * i) + r[0]);
      const x = nonNegativeLeastSquares(a, b);
      if (x === null) throw new Error('no solution');
      const r = a.map((row, i) => b[i] - row.reduce((s, v, k) => s + v * x[k], 0));
      x.forEach((v, k) => {
        const gradient = a.reduce((s, row, i) => s + row[k] * r[i], 0);
        expect(v).toBeGreaterThanOrEqual(0);
        if (v > 1e-9) expect(Math.abs(gradient)).toBeLessThan(1e-8); else expect(gradient).toBeLessThan(1e-8);
      });
    }), { numRuns: 100, seed: 7 });
  });
});

describe('non-negative least squares at its limits', () => {
  test('ends where numbers leave what can be held', () => {
    const small = [[-4.66e-155, -3.83e-155, 1.33e-155], [2.47e-155, -3.99e-155, 2.32e-156], [2e-155, -5.91e-156, 3.9e-155]];
    expect(nonNegativeLeastSquares(small, [-3.7e151, -1.62e152, -4.42e152])).toBeNull();
  });

  test('a free column that does not exist is a mistake of the caller', () => {
    const a = [[1, 0], [0, 1], [1, 1]];
    expect(Array.from(nonNegativeLeastSquares(a, [1, -2, -1], [1]) ?? [])).toEqual([1, -2].map((v) => expect.closeTo(v, 12) as unknown));
    for (const wrong of [2, -1, NaN]) expect(() => nonNegativeLeastSquares(a, [1, 2, 3], [wrong])).toThrow(RangeError);
  });
});

describe('expo', () => {
  test('inverse and curve undo each other over the whole range of e, ends included', () => {
    fc.assert(fc.property(number(-0.5, 1), number(0, 1), (e, x) => {
      expect(Math.abs(expo(expoInverse(x, e), e) - x)).toBeLessThan(1e-12);
    }), { numRuns: 300, seed: 8 });
    for (const e of [-0.5, 0, 1]) {
      expect(expoInverse(0, e)).toBeCloseTo(0, 12);
      expect(expoInverse(1, e)).toBeCloseTo(1, 12);
    }
    expect(expo(0.5, 0.4)).toBeCloseTo(0.6 * 0.5 + 0.4 * 0.125, 15);
  });
  test('a fit finds the e of exact pairs, and holds it at the end of the range when the data ask for more', () => {
    const x = Array.from({ length: 21 }, (_, i) => i / 20);
    for (const e of [-0.5, -0.2, 0, 0.37, 1]) expect(fitExpo(x, x.map((v) => expo(v, e)))).toMatchObject({ ok: true, e: expect.closeTo(e, 12) as number, worstError: expect.closeTo(0, 12) as number });
    expect(fitExpo(x, x.map((v) => v ** 8))).toMatchObject({ ok: true, e: 1, limited: true });
    expect(fitExpo([0, 1], [0, 1])).toMatchObject({ ok: false });
    expect(() => expo(0.5, 1.01)).toThrow(/outside -0.5..1/);
    expect(() => expo(1.1, 0)).toThrow(/outside 0..1/);
  });
  test('matching leads from old throttle to new throttle: a drivetrain bent by an expo is undone by the same expo', () => {
    const response = (t: number): number => 10 * t * t;
    const oldCurve: Curve = { from: 0, to: 1, at: (t) => response(expo(t, 0.3)) }; // old: soft
    const newCurve: Curve = { from: 0, to: 1, at: response };
    const m = matchThrottle(oldCurve, newCurve);
    expect(m.expo).toMatchObject({ ok: true, e: expect.closeTo(0.3, 9) as number });
    expect(m.rows[10]).toMatchObject({ oldThrottle: 0.5, reason: null });
    expect(newCurve.at(m.rows[10].newThrottle ?? NaN)).toBeCloseTo(oldCurve.at(0.5), 9);
    expect(m.worstResponseError).toBeCloseTo(0, 8);
    expect(m.worstUncompensated).toBeGreaterThan(0.5);
  });
  test('what the new drivetrain cannot reach is null with the reason, and the expo’s remaining error is stated', () => {
    const m = matchThrottle({ from: 0, to: 1, at: (t) => 12 * t }, { from: 0, to: 1, at: (t) => 10 * t ** 1.5 });
    expect(m.rows[20].newThrottle).toBeNull();
    expect(m.rows[20].reason).toMatch(/outside the curve/);
    expect(m.worstResponseError).toBeGreaterThan(1);
  });
});
