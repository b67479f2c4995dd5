/**
 * Inverse of a small symmetric positive definite matrix, row-major n × n, by Cholesky factors.
 * @returns undefined when it is singular to working precision: the data do not say
 */
export function invertSymmetric(matrix: readonly number[], n: number): number[] | undefined {
  const lower = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = matrix[i * n + j]!;
      for (let k = 0; k < j; k++) sum -= lower[i * n + k]! * lower[j * n + k]!;
      if (i === j) {
        if (!(sum > 1e-13 * matrix[i * n + i]!)) return undefined;
        lower[i * n + i] = Math.sqrt(sum);
      } else {
        lower[i * n + j] = sum / lower[j * n + j]!;
      }
    }
  }
  const inverse: number[] = new Array(n * n).fill(0);
  for (let column = 0; column < n; column++) {
    const x = new Float64Array(n);
    for (let i = 0; i < n; i++) {
      let sum = i === column ? 1 : 0;
      for (let k = 0; k < i; k++) sum -= lower[i * n + k]! * x[k]!;
      x[i] = sum / lower[i * n + i]!;
    }
    for (let i = n - 1; i >= 0; i--) {
      let sum = x[i]!;
      for (let k = i + 1; k < n; k++) sum -= lower[k * n + i]! * x[k]!;
      x[i] = sum / lower[i * n + i]!;
    }
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
