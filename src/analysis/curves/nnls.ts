/** Least squares with non-negative unknowns. */
import { smallLeastSquares, triangleOf } from '../stats/householder';

/**
 * Minimises |A x − b| with x ≥ 0 by active sets (Lawson & Hanson, Solving Least Squares Problems, 1974, chapter 23).
 * @param free columns whose unknown may have either sign
 * @returns x, or null when the columns in use depend on each other or the sets do not settle
 */
export function nonNegativeLeastSquares(a: readonly (readonly number[])[], b: readonly number[], free: readonly number[] = []): number[] | null {
  const columns = a[0]?.length ?? 0;
  const always = new Set(free);
  const passive = new Set(free);
  // What the sets are tried on is no taller than wide: a rotation changes no length, and what falls out is the same for every x.
  const small = triangleOf(a, b);
  let x = new Array<number>(columns).fill(0);
  if (passive.size > 0) {
    const start = solveOn(small, passive, columns);
    if (start === null) return null;
    x = start;
  }
  const size = Math.sqrt(b.reduce((s, v) => s + v * v, 0)) || 1;
  for (let round = 0; round < 10 * columns + 10; round++) {
    const residual = small.rows.map((row, i) => small.y[i] - row.reduce((s, v, k) => s + v * x[k], 0));
    let steepest = -1;
    let most = 1e-10 * size;
    for (let k = 0; k < columns; k++) {
      if (passive.has(k)) continue;
      let gain = 0;
      let norm = 0;
      for (let i = 0; i < small.rows.length; i++) { gain += small.rows[i][k] * residual[i]; norm += small.rows[i][k] ** 2; }
      gain /= Math.sqrt(norm) || 1;
      if (gain > most) { most = gain; steepest = k; }
    }
    if (steepest < 0) return x;
    passive.add(steepest);
    for (;;) {
      const trial = solveOn(small, passive, columns);
      if (trial === null) return null;
      const negative = [...passive].filter((k) => !always.has(k) && trial[k] <= 0);
      if (negative.length === 0) { x = trial; break; }
      const from = x;
      const step = Math.min(...negative.map((k) => from[k] / (from[k] - trial[k])));
      x = from.map((v, k) => v + (Number.isFinite(step) ? step : 0) * (trial[k] - v));
      for (const k of negative) if (x[k] <= 1e-14) { x[k] = 0; passive.delete(k); }
      if (passive.size === always.size) break;
    }
  }
  return null;
}

function solveOn({ rows, y }: ReturnType<typeof triangleOf>, use: ReadonlySet<number>, columns: number): number[] | null {
  const list = [...use].sort((p, q) => p - q);
  const solution = smallLeastSquares(rows.map((row) => list.map((k) => row[k])), y);
  if (solution === null) return null;
  const x = new Array<number>(columns).fill(0);
  list.forEach((k, i) => { x[k] = solution[i]; });
  return x;
}
