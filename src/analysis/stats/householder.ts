/** Least squares of small problems that are solved many times, by Householder reflections (Golub & Van Loan, Matrix Computations, 5.2–5.3). */
import type { Numbers } from './check';

/** A design with its observations. */
export type Triangle = { readonly rows: readonly Float64Array[]; readonly y: Float64Array };

/** The same problem with at most as many rows as columns: every x has the same residual but for a constant. */
export function triangleOf(design: readonly Numbers[], observed: Numbers): Triangle {
  const rows = design.map((r) => new Float64Array(r));
  const y = new Float64Array(observed);
  const n = rows[0]?.length ?? 0;
  reflect(rows, y);
  const kept = Math.min(rows.length, n);
  return { rows: rows.slice(0, kept), y: y.slice(0, kept) };
}

/** The least-squares solution; null when the columns depend on each other to working precision or outnumber the rows. */
export function smallLeastSquares(design: readonly Numbers[], observed: Numbers): Float64Array | null {
  const n = design[0]?.length ?? 0;
  if (n === 0 || design.length < n) return null;
  const { rows, y } = triangleOf(design, observed);
  let most = 0;
  let least = Infinity;
  for (let k = 0; k < n; k++) {
    most = Math.max(most, Math.abs(rows[k][k]));
    least = Math.min(least, Math.abs(rows[k][k]));
  }
  if (!(least > 1e-13 * most)) return null;
  const x = new Float64Array(n);
  for (let k = n - 1; k >= 0; k--) {
    let sum = y[k];
    for (let j = k + 1; j < n; j++) sum -= rows[k][j] * x[j];
    x[k] = sum / rows[k][k];
  }
  return x;
}

/** Makes a design upper triangular in place and turns its observations along. */
function reflect(a: readonly Float64Array[], y: Float64Array): void {
  const m = a.length;
  const n = a[0]?.length ?? 0;
  for (let k = 0; k < Math.min(n, m - 1); k++) {
    let square = 0;
    for (let i = k; i < m; i++) square += a[i][k] ** 2;
    if (square === 0) continue;
    const length = a[k][k] > 0 ? -Math.sqrt(square) : Math.sqrt(square);
    const head = a[k][k] - length;
    // v = (head, a[k+1][k], …); 2/vᵀv = −1/(length·head).
    const scale = -1 / (length * head);
    for (let j = k + 1; j < n; j++) {
      let dot = head * a[k][j];
      for (let i = k + 1; i < m; i++) dot += a[i][k] * a[i][j];
      dot *= scale;
      a[k][j] -= dot * head;
      for (let i = k + 1; i < m; i++) a[i][j] -= dot * a[i][k];
    }
    let dot = head * y[k];
    for (let i = k + 1; i < m; i++) dot += a[i][k] * y[i];
    dot *= scale;
    y[k] -= dot * head;
    for (let i = k + 1; i < m; i++) y[i] -= dot * a[i][k];
    a[k][k] = length;
    for (let i = k + 1; i < m; i++) a[i][k] = 0;
  }
}
