/**
 * A symmetric positive definite matrix as the product of a lower triangle and its transpose, for many right sides.
 * About n³/6 multiplications; an inverse takes several times as many.
 * Source: G. H. Golub, C. F. Van Loan, Matrix Computations, 4th ed. (2013), section 4.2.
 */
export class Cholesky {
  readonly #lower: Float64Array;
  readonly #n: number;

  private constructor(lower: Float64Array, n: number) {
    this.#lower = lower;
    this.#n = n;
  }

  /** @param matrix row-major, n × n; only its lower triangle is read. @returns undefined when it is singular to working precision */
  static of(matrix: Float64Array, n: number): Cholesky | undefined {
    const lower = new Float64Array(n * n);
    for (let i = 0; i < n; i++) {
      const row = i * n;
      for (let j = 0; j <= i; j++) {
        const other = j * n;
        let sum = matrix[row + j]!;
        for (let k = 0; k < j; k++) sum -= lower[row + k]! * lower[other + k]!;
        if (i !== j) lower[row + j] = sum / lower[other + j]!;
        else if (sum > 1e-13 * matrix[row + i]!) lower[row + i] = Math.sqrt(sum);
        else return undefined;
      }
    }
    return new Cholesky(lower, n);
  }

  solve(right: Float64Array): Float64Array {
    const n = this.#n;
    const x = this.#forward(right);
    for (let i = n - 1; i >= 0; i--) {
      let sum = x[i]!;
      for (let k = i + 1; k < n; k++) sum -= this.#lower[k * n + i]! * x[k]!;
      x[i] = sum / this.#lower[i * n + i]!;
    }
    return x;
  }

  /** wᵀ A⁻¹ w: the variance of a sum with these weights, when A is what least squares call the normal matrix. */
  variance(weights: Float64Array): number {
    return this.#forward(weights).reduce((sum, value) => sum + value * value, 0);
  }

  #forward(right: Float64Array): Float64Array {
    const n = this.#n;
    const x = new Float64Array(n);
    for (let i = 0; i < n; i++) {
      let sum = right[i]!;
      const row = i * n;
      for (let k = 0; k < i; k++) sum -= this.#lower[row + k]! * x[k]!;
      x[i] = sum / this.#lower[row + i]!;
    }
    return x;
  }
}
