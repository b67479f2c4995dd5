import { Cholesky } from "./cholesky.ts";

/**
 * Inverse of a small symmetric positive definite matrix, row-major n × n, by Cholesky factors.
 * @returns undefined when it is singular to working precision: the data do not say
 */
export function invertSymmetric(matrix: readonly number[], n: number): number[] | undefined {
  const factors = Cholesky.of(new Float64Array(matrix), n);
  if (!factors) return undefined;
  const inverse: number[] = new Array(n * n).fill(0);
  for (let column = 0; column < n; column++) {
    const unit = new Float64Array(n);
    unit[column] = 1;
    const x = factors.solve(unit);
    for (let i = 0; i < n; i++) inverse[i * n + column] = x[i]!;
  }
  return inverse;
}

export interface LeastSquares {
  readonly solution: readonly number[];
  /** (JᵀJ)⁻¹, row-major; times the variance of one observation it is the covariance. */
  readonly inverse: readonly number[];
  /** Root mean square of the residuals over the degrees of freedom; 0 without any. */
  readonly residualSd: number;
}

/** Solves rows · x = values in the least-squares sense, by normal equations: for a handful of unknowns. */
export function leastSquares(
  rows: readonly (readonly number[])[],
  values: readonly number[],
): LeastSquares | undefined {
  const n = rows[0]?.length ?? 0;
  const normal: number[] = new Array(n * n).fill(0);
  const right: number[] = new Array(n).fill(0);
  rows.forEach((row, k) => {
    for (let i = 0; i < n; i++) {
      right[i]! += row[i]! * values[k]!;
      for (let j = 0; j < n; j++) normal[i * n + j]! += row[i]! * row[j]!;
    }
  });
  const inverse = n > 0 ? invertSymmetric(normal, n) : undefined;
  if (!inverse) return undefined;
  const solution = right.map((_, i) => right.reduce((sum, r, j) => sum + inverse[i * n + j]! * r, 0));
  const squares = rows.reduce((sum, row, k) => {
    const residual = values[k]! - row.reduce((dot, factor, i) => dot + factor * solution[i]!, 0);
    return sum + residual * residual;
  }, 0);
  const freedom = rows.length - n;
  return { solution, inverse, residualSd: freedom > 0 ? Math.sqrt(squares / freedom) : 0 };
}
