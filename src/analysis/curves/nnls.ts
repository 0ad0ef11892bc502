/** Least squares with non-negative unknowns. */
import type { Numbers } from '../stats/check';
import { smallLeastSquares, triangleOf, type Triangle } from '../stats/householder';

/**
 * Minimises |A x − b| with x ≥ 0 by active sets (Lawson & Hanson, Solving Least Squares Problems, 1974, chapter 23).
 * @param free columns whose unknown may have either sign
 * @returns x, or null when the columns in use depend on each other, numbers leave what can be held, or the sets do not settle
 * @throws RangeError when a free column does not exist
 */
export function nonNegativeLeastSquares(a: readonly Numbers[], b: Numbers, free: readonly number[] = []): Float64Array | null {
  const columns = a[0]?.length ?? 0;
  // 1 where a column is in use.
  const always = new Uint8Array(columns);
  for (const k of free) {
    if (!(k >= 0 && k < columns)) throw new RangeError(`column ${k} is free, but there are ${columns}`);
    always[k] = 1;
  }
  const passive = always.slice();
  // What the sets are tried on is no taller than wide: a rotation changes no length, and what falls out is the same for every x.
  const small = triangleOf(a, b);
  let x: Float64Array = new Float64Array(columns);
  if (free.length > 0) {
    const start = solveOn(small, passive);
    if (start === null) return null;
    x = start;
  }
  const least = 1e-10 * (Math.sqrt(squareOf(b)) || 1);
  for (let round = 0; round < 10 * columns + 10; round++) {
    const steepest = steepestOf(small, x, passive, least);
    if (steepest < 0) return x;
    passive[steepest] = 1;
    // A pass takes a column out of use, but for what rounding leaves.
    for (let pass = 0; pass < 10 * columns; pass++) {
      const trial = solveOn(small, passive);
      if (trial === null) return null;
      if (!moveTowards(trial, x, passive, always)) { x = trial; break; }
      if (passive.every((used, k) => used === always[k])) break;
    }
  }
  return null;
}

function squareOf(b: Numbers): number {
  let sum = 0;
  for (let i = 0; i < b.length; i++) sum += b[i] * b[i];
  return sum;
}

/** The unused column along which the residual falls most steeply, when by more than `least`; −1 when none does. */
function steepestOf({ rows, y }: Triangle, x: Float64Array, passive: Uint8Array, least: number): number {
  const residual = y.slice();
  for (let i = 0; i < rows.length; i++) {
    let sum = 0;
    for (let k = 0; k < x.length; k++) sum += rows[i][k] * x[k];
    residual[i] -= sum;
  }
  let steepest = -1;
  let most = least;
  for (let k = 0; k < x.length; k++) {
    if (passive[k] === 1) continue;
    let gain = 0;
    let norm = 0;
    for (let i = 0; i < rows.length; i++) { gain += rows[i][k] * residual[i]; norm += rows[i][k] ** 2; }
    gain /= Math.sqrt(norm) || 1;
    if (gain > most) { most = gain; steepest = k; }
  }
  return steepest;
}

/** Moves x towards a trial as far as no unknown turns negative, and takes those that reach 0 out of use; false when the trial itself will do. */
function moveTowards(trial: Float64Array, x: Float64Array, passive: Uint8Array, always: Uint8Array): boolean {
  let negative = 0;
  let step = Infinity;
  for (let k = 0; k < x.length; k++) {
    if (passive[k] === 0 || always[k] === 1 || !(trial[k] <= 0)) continue;
    negative++;
    step = Math.min(step, x[k] / (x[k] - trial[k]));
  }
  if (negative === 0) return false;
  const share = Number.isFinite(step) ? step : 0;
  for (let k = 0; k < x.length; k++) {
    const bound = passive[k] === 1 && always[k] === 0 && trial[k] <= 0;
    x[k] += share * (trial[k] - x[k]);
    if (bound && x[k] <= 1e-14) { x[k] = 0; passive[k] = 0; }
  }
  return true;
}

/** Least squares on the columns in use; the other unknowns are 0. Null where there is no finite solution. */
function solveOn({ rows, y }: Triangle, use: Uint8Array): Float64Array | null {
  const solution = smallLeastSquares(rows.map((row) => row.filter((_, k) => use[k] === 1)), y);
  if (solution === null || !solution.every(Number.isFinite)) return null;
  const x = new Float64Array(use.length);
  for (let k = 0, i = 0; k < use.length; k++) if (use[k] === 1) x[k] = solution[i++];
  return x;
}
