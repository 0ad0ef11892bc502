/** The little linear algebra that the fits share, on ml-matrix. */
import { Matrix, QrDecomposition, inverse } from 'ml-matrix';

/** A least-squares solution: coefficients, residual sum of squares and (XᵀX)⁻¹. */
export type Solution = { readonly coefficients: readonly number[]; readonly rss: number; readonly unscaledCovariance: readonly (readonly number[])[] };

/** Whether the columns of a QR-decomposed design depend on each other to working precision. */
export function dependentColumns(qr: QrDecomposition): boolean {
  if (!qr.isFullRank()) return true;
  const diagonal = qr.upperTriangularMatrix.diagonal().map(Math.abs);
  return Math.min(...diagonal) <= 1e-13 * Math.max(...diagonal);
}

/** Ordinary least squares of y on the rows of a design; null when its columns depend on each other or outnumber the rows. */
export function solveLeastSquares(rows: readonly (readonly number[])[], y: ArrayLike<number>): Solution | null {
  if (rows.length === 0 || rows.length < rows[0].length) return null;
  const design = new Matrix(rows.map((r) => [...r]));
  const target = Matrix.columnVector(Array.from(y));
  const qr = new QrDecomposition(design);
  if (dependentColumns(qr)) return null;
  const solution = qr.solve(target);
  const left = Matrix.sub(target, design.mmul(solution));
  const rInverse = inverse(qr.upperTriangularMatrix);
  return {
    coefficients: solution.getColumn(0), rss: left.dot(left),
    unscaledCovariance: rInverse.mmul(rInverse.transpose()).to2DArray(),
  };
}
