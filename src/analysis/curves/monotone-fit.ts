/**
 * A smooth monotone curve through noisy samples: cubic B-splines whose coefficients never decrease (which is enough for the
 * curve never to), fitted by least squares on binned samples. It reproduces straight lines and rising parabolas exactly.
 */
import { noResult, requireFinite, requireSameLength, type NoResult, type Numbers } from '../stats/check';
import { nonNegativeLeastSquares } from './nnls';
import type { Curve } from './pchip';

/** How to fit. */
export type MonotoneOptions = {
  /** Spline intervals; 10 unless given. Fewer are used when there are few points. */
  readonly intervals?: number;
  /** Cells that samples are averaged in first; 200 unless given. */
  readonly bins?: number;
};

/** A monotone fit: a curve with its scatter. The scatter is that of samples: an interval needs repeats. */
export type MonotoneFit = Curve & {
  readonly ok: true;
  /** Root-mean-square deviation of the cell means from the curve. */
  readonly rmsOfCells: number;
  readonly cells: number;
  /** Slope at x (never negative). */
  readonly slopeAt: (x: number) => number;
};

const DEGREE = 3;

/**
 * Fits a non-decreasing curve of y over x.
 * @param x in any order; at least four different values (after binning)
 * @returns the fit over the range of x, or the reason why there is none
 */
export function fitMonotone(x: Numbers, y: Numbers, options: MonotoneOptions = {}): MonotoneFit | NoResult {
  requireSameLength(x, y, 'x and y');
  requireFinite(x, 'x');
  requireFinite(y, 'y');
  if (x.length < 4) return noResult(`${x.length} points do not make a curve; 4 or more are needed`);
  const cells = bin(x, y, options.bins ?? 200);
  if (cells.x.length < 4) return noResult(`the points lie at ${cells.x.length} different x only; 4 or more are needed`);
  const { from, to } = cells;
  const intervals = Math.max(1, Math.min(options.intervals ?? 10, cells.x.length - DEGREE));
  const basis = new UniformCubic(from, to, intervals);

  // y = c₀ + Σ d_k · (B_k + … + B_last) with every d_k ≥ 0 and c₀ free.
  const root = cells.weight.map(Math.sqrt);
  const scale = Math.max(...cells.y.map(Math.abs)) || 1;
  const d = nonNegativeLeastSquares(cells.x.map((v, i) => basis.tails(v, root[i])), cells.y.map((v, i) => (v / scale) * root[i]), [0]);
  if (d === null) return noResult('the monotone fit did not settle; the x values may be bunched, use fewer intervals');
  const coefficients: number[] = [];
  d.forEach((step, k) => coefficients.push((k === 0 ? 0 : coefficients[k - 1]) + step * scale));
  const at = (v: number): number => basis.value(coefficients, Math.min(to, Math.max(from, v)));
  let square = 0;
  cells.x.forEach((v, i) => { square += (cells.y[i] - at(v)) ** 2; });
  return {
    ok: true, from, to, at, cells: cells.x.length, rmsOfCells: Math.sqrt(square / cells.x.length),
    slopeAt: (v) => basis.slope(coefficients, Math.min(to, Math.max(from, v))),
  };
}

/** Averages samples in equal cells; cells without samples vanish. */
function bin(x: Numbers, y: Numbers, bins: number): { x: number[]; y: number[]; weight: number[]; from: number; to: number } {
  let from = Infinity;
  let to = -Infinity;
  for (let i = 0; i < x.length; i++) {
    if (x[i] < from) from = x[i];
    if (x[i] > to) to = x[i];
  }
  if (x.length <= bins || from === to) { // few points stay as they are; equal x are averaged
    const at = new Map<number, { sum: number; count: number }>();
    for (let i = 0; i < x.length; i++) {
      const cell = at.get(x[i]) ?? { sum: 0, count: 0 };
      at.set(x[i], { sum: cell.sum + y[i], count: cell.count + 1 });
    }
    const sorted = [...at].sort(([a], [b]) => a - b);
    return { x: sorted.map(([v]) => v), y: sorted.map(([, c]) => c.sum / c.count), weight: sorted.map(([, c]) => c.count), from, to };
  }
  const sumX = new Float64Array(bins);
  const sumY = new Float64Array(bins);
  const count = new Float64Array(bins);
  const perCell = bins / (to - from);
  for (let i = 0; i < x.length; i++) {
    const cell = Math.min(bins - 1, Math.floor((x[i] - from) * perCell));
    sumX[cell] += x[i];
    sumY[cell] += y[i];
    count[cell]++;
  }
  const used = Array.from(count.keys()).filter((i) => count[i] > 0);
  return { x: used.map((i) => sumX[i] / count[i]), y: used.map((i) => sumY[i] / count[i]), weight: used.map((i) => count[i]), from, to };
}

/** Cubic B-splines on equal intervals with the end knots repeated, by the Cox–de Boor recursion. */
class UniformCubic {
  readonly count: number;
  private readonly knots: number[];

  constructor(from: number, to: number, intervals: number) {
    this.count = intervals + DEGREE;
    const inner = Array.from({ length: intervals + 1 }, (_, i) => (i === intervals ? to : from + ((to - from) * i) / intervals));
    this.knots = [from, from, from, ...inner, to, to, to];
  }

  /** Index of the interval that holds v, counted in knots. */
  private interval(v: number): number {
    let k = DEGREE;
    while (k < this.count - 1 && v >= this.knots[k + 1]) k++;
    return k;
  }

  /** The basis functions of a degree that are not 0 at v; the first has index `interval − degree`. */
  private local(v: number, k: number, degree: number): number[] {
    const b = [1];
    for (let p = 1; p <= degree; p++) {
      let carry = 0;
      for (let j = 0; j < p; j++) {
        const right = this.knots[k + 1 + j] - v;
        const left = v - this.knots[k + 1 + j - p];
        const part = b[j] / (right + left);
        b[j] = carry + right * part;
        carry = left * part;
      }
      b.push(carry);
    }
    return b;
  }

  value(c: readonly number[], v: number): number {
    const k = this.interval(v);
    return this.local(v, k, DEGREE).reduce((sum, b, j) => sum + b * c[k - DEGREE + j], 0);
  }

  slope(c: readonly number[], v: number): number {
    const k = this.interval(v);
    return this.local(v, k, DEGREE - 1).reduce((sum, b, j) => {
      const i = k - DEGREE + 1 + j;
      return sum + (b * DEGREE * (c[i] - c[i - 1])) / (this.knots[i + DEGREE] - this.knots[i]);
    }, 0);
  }

  /** For every k the sum of the basis functions from k on, times a weight. */
  tails(v: number, weight: number): Float64Array {
    const k = this.interval(v);
    const row = new Float64Array(this.count);
    row.set(this.local(v, k, DEGREE), k - DEGREE);
    for (let i = this.count - 2; i >= 0; i--) row[i] += row[i + 1];
    return row.map((b) => b * weight);
  }
}
