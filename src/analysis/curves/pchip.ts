/** Monotone piecewise-cubic interpolation, and the inverse of any monotone curve. */
import { requireFinite, requireSameLength, type Numbers } from '../stats/check';

/** A curve over from..to. Outside, it stays at its end values. */
export type Curve = {
  readonly from: number;
  readonly to: number;
  readonly at: (x: number) => number;
};

/**
 * Cubic interpolation that keeps the data's monotone stretches monotone (Fritsch & Butland, SIAM J. Scientific and Statistical
 * Computing 5 (1984) 300, slopes by the weighted harmonic mean; ends by the three-point formula, limited).
 * @param x strictly increasing, two points or more
 */
export function pchip(x: Numbers, y: Numbers): Curve {
  requireSameLength(x, y, 'x and y');
  requireFinite(x, 'x');
  requireFinite(y, 'y');
  const n = x.length;
  if (n < 2) throw new RangeError(`a curve needs two or more points, got ${n}`);
  const xs = Float64Array.from(x);
  const ys = Float64Array.from(y);
  for (let i = 1; i < n; i++) if (!(xs[i] > xs[i - 1])) throw new RangeError(`x must increase: x[${i - 1}] = ${xs[i - 1]}, x[${i}] = ${xs[i]}`);
  const slopes = slopesOf(xs, ys);
  const at = (v: number): number => {
    if (!(v > xs[0])) return ys[0];
    if (v >= xs[n - 1]) return ys[n - 1];
    let low = 0;
    let high = n - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (xs[middle] <= v) low = middle; else high = middle;
    }
    const h = xs[high] - xs[low];
    const s = (v - xs[low]) / h;
    const r = 1 - s;
    const value = r * r * ((1 + 2 * s) * ys[low] + s * h * slopes[low]) + s * s * ((1 + 2 * r) * ys[high] - r * h * slopes[high]);
    // Between its two points the exact cubic never leaves them; rounding must not either.
    return Math.min(Math.max(value, Math.min(ys[low], ys[high])), Math.max(ys[low], ys[high]));
  };
  return { from: xs[0], to: xs[n - 1], at };
}

function slopesOf(x: Float64Array, y: Float64Array): Float64Array {
  const n = x.length;
  const h = (i: number): number => x[i + 1] - x[i];
  const d = (i: number): number => (y[i + 1] - y[i]) / h(i);
  const m = new Float64Array(n);
  if (n === 2) return m.fill(d(0));
  for (let i = 1; i < n - 1; i++) {
    if (d(i - 1) * d(i) <= 0) continue;
    const w1 = 2 * h(i) + h(i - 1);
    const w2 = h(i) + 2 * h(i - 1);
    m[i] = (w1 + w2) / (w1 / d(i - 1) + w2 / d(i));
  }
  m[0] = endSlope(h(0), h(1), d(0), d(1));
  m[n - 1] = endSlope(h(n - 2), h(n - 3), d(n - 2), d(n - 3));
  return m;
}

function endSlope(h0: number, h1: number, d0: number, d1: number): number {
  const slope = ((2 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
  if (slope * d0 <= 0) return 0;
  return d0 * d1 <= 0 && Math.abs(slope) > 3 * Math.abs(d0) ? 3 * d0 : slope;
}

/** Where a curve takes a value, or why it does not. */
export type Inverse = { readonly x: number; readonly reason: null } | { readonly x: null; readonly reason: string };

/**
 * The least x at which a non-decreasing curve reaches a value, by bisection to 1e-12 of its width.
 * Outside the curve's values there is no answer: it never extrapolates.
 */
export function invert(curve: Curve, value: number): Inverse {
  const low = curve.at(curve.from);
  const high = curve.at(curve.to);
  if (!Number.isFinite(value)) return { x: null, reason: `the wanted value is ${value}` };
  if (low > high) throw new RangeError(`the curve falls from ${low} to ${high}; only a rising one is inverted`);
  if (value < low || value > high) return { x: null, reason: `${value} is outside the curve's values ${low}..${high}` };
  if (value === low) return { x: curve.from, reason: null };
  let a = curve.from;
  let b = curve.to;
  for (let i = 0; i < 60 && b - a > 1e-13 * (curve.to - curve.from); i++) {
    const middle = (a + b) / 2;
    if (curve.at(middle) < value) a = middle; else b = middle;
  }
  return { x: b, reason: null };
}
