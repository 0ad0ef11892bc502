/**
 * A signal near one instant, by a parabola through the samples around it (local regression: Savitzky & Golay, Analytical
 * Chemistry 36 (1964) 1627, for samples that need not be evenly spaced). The steps of a coarse channel and its noise average
 * out over the window, and a parabola, unlike a line, follows the bend of a step on its way to the level.
 */
import { firstAt } from '../run-data';
import { requireSameLength, type Numbers } from '../stats/check';

/** value + slope·(t − at) + bend·(t − at)². */
export type LocalFit = { readonly value: number; readonly slope: number; readonly bend: number; readonly n: number };

/** Fewer samples than this carry no parabola. */
const LEAST = 5;

/**
 * Least-squares parabola over [at − half, at + half], never reaching before `from` (the corner at which a step begins must not
 * be smoothed away). Where fewer than five samples lie in the window it is widened to the nearest five.
 * @returns null when there are fewer than five samples from `from` on
 */
export function localFit(t: Numbers, y: Numbers, at: number, half: number, from = -Infinity): LocalFit | null {
  requireSameLength(t, y, 't and y');
  const window = windowNear(t, at, half, from);
  if (window === null) return null;
  const { a, b, n, scale, s1, s2, s3, s4, c0, c1, c2, det } = window;
  let [v0, v1, v2] = [0, 0, 0];
  for (let i = a; i < b; i++) {
    const x = (t[i] - at) / scale;
    // About the first sample, so that a large level costs no digits.
    const v = y[i] - y[a];
    v0 += v;
    v1 += x * v;
    v2 += x * x * v;
  }
  const value = (c0 * v0 + c1 * v1 + c2 * v2) / det;
  const slope = (c1 * v0 + (n * s4 - s2 * s2) * v1 + (s1 * s2 - n * s3) * v2) / det;
  const bend = (c2 * v0 + (s1 * s2 - n * s3) * v1 + (n * s2 - s1 * s1) * v2) / det;
  return Number.isFinite(value + slope + bend) ? { value: value + y[a], slope: slope / scale, bend: bend / scale ** 2, n } : null;
}

/** The samples that {@link localFit} rests on, from index `first` on, and what each weighs in its value. Weights add up to one. */
export function localWeights(t: Numbers, at: number, half: number, from = -Infinity): { readonly first: number; readonly weights: Float64Array } | null {
  const window = windowNear(t, at, half, from);
  if (window === null) return null;
  const { a, n, scale, c0, c1, c2, det } = window;
  const weights = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    const x = (t[a + i] - at) / scale;
    weights[i] = (c0 + c1 * x + c2 * x * x) / det;
  }
  return weights.every(Number.isFinite) ? { first: a, weights } : null;
}

/** Samples [a, b) of a fit, sums of powers of their times about `at` over `scale`, and what solves the normal equations for the value there. */
type FitWindow = { readonly a: number; readonly b: number; readonly n: number; readonly scale: number } & Readonly<Record<'s1' | 's2' | 's3' | 's4' | 'c0' | 'c1' | 'c2' | 'det', number>>;

function windowNear(t: Numbers, at: number, half: number, from: number): FitWindow | null {
  const first = firstAt(t, from);
  let a = Math.max(first, firstAt(t, at - half));
  let b = firstAt(t, at + half);
  if (t.length - first < LEAST) return null;
  while (b - a < LEAST) {
    if (b >= t.length || (a > first && at - t[a - 1] < t[b] - at)) a--; else b++;
  }
  const n = b - a;
  const scale = Math.max(at - t[a], t[b - 1] - at);
  let [s1, s2, s3, s4] = [0, 0, 0, 0];
  for (let i = a; i < b; i++) {
    const x = (t[i] - at) / scale;
    const xx = x * x;
    s1 += x;
    s2 += xx;
    s3 += xx * x;
    s4 += xx * xx;
  }
  const [c0, c1, c2] = [s2 * s4 - s3 * s3, s2 * s3 - s1 * s4, s1 * s3 - s2 * s2];
  return { a, b, n, scale, s1, s2, s3, s4, c0, c1, c2, det: n * c0 + s1 * c1 + s2 * c2 };
}

/** The window moves with the crossing this often at most. */
const ROUNDS = 8;

/**
 * A crossing found between two samples, found again on the parabola around it. The first noisy sample past a level comes
 * early where the signal rises slowly, by several samples on a coarse channel; the parabola's crossing does not.
 * @returns the instant, or `rough` where no parabola crosses the level nearby in the right direction
 */
export function refineCrossing(t: Numbers, y: Numbers, level: number, rising: boolean, rough: number, half: number, from = -Infinity): number {
  let at = rough;
  for (let round = 0; round < ROUNDS; round++) {
    const fit = localFit(t, y, at, half, from);
    if (fit === null || (fit.slope > 0) !== rising) return rough;
    const root = fit.slope ** 2 - 4 * fit.bend * (fit.value - level);
    if (root < 0) return rough;
    // The root next to `at`, in the form that loses no digits where the bend is small.
    const move = (2 * (level - fit.value)) / (fit.slope + Math.sign(fit.slope) * Math.sqrt(root));
    if (!Number.isFinite(move) || Math.abs(at + move - rough) > 2 * half) return rough;
    at += move;
    if (Math.abs(move) < 1e-4 * half) break;
  }
  return at;
}
