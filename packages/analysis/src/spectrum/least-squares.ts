/** Linear least squares with few unknowns and many samples. */
import { CholeskyDecomposition, Matrix } from 'ml-matrix';

export interface LeastSquares {
  readonly coefficients: Float64Array;
  readonly residual: Float64Array;
  readonly residualSumOfSquares: number;
  /** (AᵀA)⁻¹; times the noise variance it is the covariance of the coefficients. */
  readonly inverse: Matrix;
}

/** Sine of the smallest angle between a column and the span of those before it that still counts as independent. */
const INDEPENDENT = 1e-6;

/**
 * Coefficients c that minimise |y − Σ c_j·columns_j|².
 *
 * Normal equations on columns scaled to unit length: at a handful of well separated columns they lose no digit that
 * the noise has not already taken, and they need one pass over the samples.
 *
 * @returns null when a column is 0 or nearly a combination of the others
 */
export function solveLeastSquares(columns: readonly Float64Array[], y: Float64Array): LeastSquares | null {
  const count = columns.length;
  const norms = columns.map((column) => Math.sqrt(dot(column, column)));
  if (norms.some((norm) => !(norm > 0))) return null;
  const normal = Matrix.zeros(count, count);
  const right = Matrix.zeros(count, 1);
  for (let i = 0; i < count; i++) {
    right.set(i, 0, dot(columns[i]!, y) / norms[i]!);
    normal.set(i, i, 1);
    for (let j = 0; j < i; j++) {
      const value = dot(columns[i]!, columns[j]!) / (norms[i]! * norms[j]!);
      normal.set(i, j, value);
      normal.set(j, i, value);
    }
  }
  const cholesky = new CholeskyDecomposition(normal);
  if (!cholesky.isPositiveDefinite()) return null;
  const lower = cholesky.lowerTriangularMatrix;
  for (let i = 0; i < count; i++) if (lower.get(i, i) < INDEPENDENT) return null;

  const solved = cholesky.solve(right);
  const inverse = cholesky.solve(Matrix.eye(count));
  const coefficients = new Float64Array(count);
  for (let i = 0; i < count; i++) {
    coefficients[i] = solved.get(i, 0) / norms[i]!;
    for (let j = 0; j < count; j++) inverse.set(i, j, inverse.get(i, j) / (norms[i]! * norms[j]!));
  }
  const residual = y.slice();
  for (let j = 0; j < count; j++) {
    const column = columns[j]!;
    const c = coefficients[j]!;
    for (let i = 0; i < residual.length; i++) residual[i]! -= c * column[i]!;
  }
  return { coefficients, residual, residualSumOfSquares: dot(residual, residual), inverse };
}

function dot(a: Float64Array, b: Float64Array): number {
  let total = 0;
  for (let i = 0; i < a.length; i++) total += a[i]! * b[i]!;
  return total;
}
