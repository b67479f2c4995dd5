import { expect, test } from "vitest";
import { Cholesky } from "../../../../agent/imaging/numerics/cholesky.ts";
import { invertSymmetric } from "../../../../agent/imaging/numerics/linear-solve.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const n = 60;

/** A random J'J with more rows than unknowns. */
function normalMatrix(seed: number): Float64Array {
  const random = new Random(seed);
  const matrix = new Float64Array(n * n);
  for (let row = 0; row < 3 * n; row++) {
    const values = Array.from({ length: n }, () => random.gauss());
    for (let i = 0; i < n; i++) for (let j = 0; j < n; j++) matrix[i * n + j]! += values[i]! * values[j]!;
  }
  return matrix;
}

test("solutions and variances are those of the inverse", () => {
  const matrix = normalMatrix(5);
  const inverse = invertSymmetric([...matrix], n)!;
  const factors = Cholesky.of(matrix, n)!;
  const random = new Random(6);
  const right = Float64Array.from({ length: n }, () => random.gauss());
  const solved = factors.solve(right);
  let variance = 0;
  for (let i = 0; i < n; i++) {
    let expected = 0;
    for (let j = 0; j < n; j++) {
      expected += inverse[i * n + j]! * right[j]!;
      variance += right[i]! * inverse[i * n + j]! * right[j]!;
    }
    expect(solved[i]!).toBeCloseTo(expected, 10);
  }
  expect(factors.variance(right)).toBeCloseTo(variance, 10);
});

test("a singular matrix has no factors", () => {
  const matrix = normalMatrix(7);
  for (let i = 0; i < n; i++) {
    matrix[i * n + 3] = matrix[i * n + 8]!;
    matrix[3 * n + i] = matrix[8 * n + i]!;
  }
  matrix[3 * n + 3] = matrix[8 * n + 8]!;
  expect(Cholesky.of(matrix, n)).toBeUndefined();
});
