import type { CoarseOutcome, CoarseWork } from "./coarse-work.ts";
import { addSecond, addSecondFloats, sharedDoubles } from "./part-sums.ts";
import { partCount, type SolutionArrays } from "./passes.ts";
import { type Counts, countValues, type Problem, viewsOf } from "./problem.ts";

const toleranceRelative = 1e-4;
/** A bound only: scenes with a reach of 16 px of 512 needed about 80 to come within the tolerance. */
const iterationsMost = 120;

/**
 * Minimises Σ w (q - c - G - T O)² + ridge Σ (O + fromModel)² for c, G and O, from zero; Jacobi preconditioner.
 * Source: M. R. Hestenes and E. Stiefel, J. Research Nat. Bureau of Standards 49 (1952) 409.
 */
export function* conjugateGradients(
  problem: Problem,
  work: CoarseWork,
  fromModel: Float32Array,
  least: number,
): Generator<void, CoarseOutcome> {
  const { ridge } = problem;
  const { correction: x, residual: r, direction: p, product: ap, counts, spareObject } = work;
  const frameCount = x.levels.length;
  for (const vector of [x, r, p, ap]) for (const part of Object.values(vector)) part.fill(0);
  yield* countValues(problem, counts, spareObject);
  const views = viewsOf(problem);
  const multiply = function* (data: 0 | 1, sign: 1 | -1, unknowns: SolutionArrays, out: SolutionArrays) {
    const objects = [out.object, spareObject] as const;
    const frames = sharedDoubles(frameCount);
    const about = { views, factors: { data, sign }, unknowns, gain: out.gain, objects, frames };
    yield* problem.work.run("applyNormalEquations", about, partCount);
    addSecondFloats(objects);
    out.levels.set(addSecond(frames));
  };
  yield* multiply(1, 1, x, r); // x is zero: the right-hand side
  for (let i = 0; i < fromModel.length; i++) r.object[i]! -= ridge * fromModel[i]!;
  let rz = preconditioned(r, counts, ridge);
  const enough = Math.max(toleranceRelative ** 2 * rz, least ** 2);
  let beta = 0;
  for (let iteration = 0; iteration < iterationsMost; iteration++) {
    turn(p, r, counts, ridge, beta);
    yield* multiply(0, -1, p, ap);
    for (let i = 0; i < p.object.length; i++) ap.object[i]! += ridge * p.object[i]!;
    const curvature = dot(p.gain, ap.gain) + dot(p.object, ap.object) + dot64(p.levels, ap.levels);
    if (!(curvature > 0)) return { iterations: iteration, reached: Math.sqrt(rz) };
    const step = rz / curvature;
    for (const key of ["gain", "object"] as const) {
      addScaled(x[key], p[key], step);
      addScaled(r[key], ap[key], -step);
    }
    for (let i = 0; i < frameCount; i++) {
      x.levels[i]! += step * p.levels[i]!;
      r.levels[i]! -= step * ap.levels[i]!;
    }
    const next = preconditioned(r, counts, ridge);
    if (next < enough) return { iterations: iteration + 1, reached: Math.sqrt(next) };
    beta = next / rz;
    rz = next;
  }
  return { iterations: iterationsMost, reached: Math.sqrt(rz) };
}

/** r · M⁻¹ r */
function preconditioned(r: SolutionArrays, counts: Counts, ridge: number): number {
  return (
    scaledSquares(r.gain, counts.gain, 0) +
    scaledSquares(r.object, counts.object, ridge) +
    r.levels.reduce((sum, value, i) => sum + (counts.frame[i]! > 0 ? value ** 2 / counts.frame[i]! : 0), 0)
  );
}

function scaledSquares(values: Float32Array, count: Float32Array, ridge: number): number {
  let sum = 0;
  for (let i = 0; i < values.length; i++) {
    const weight = count[i]! + ridge;
    if (weight > 0) sum += values[i]! ** 2 / weight;
  }
  return sum;
}

/** p ← M⁻¹ r + beta p */
function turn(p: SolutionArrays, r: SolutionArrays, counts: Counts, ridge: number, beta: number): void {
  turnOne(p.gain, r.gain, counts.gain, 0, beta);
  turnOne(p.object, r.object, counts.object, ridge, beta);
  for (let i = 0; i < p.levels.length; i++) {
    const weight = counts.frame[i]!;
    p.levels[i] = (weight > 0 ? r.levels[i]! / weight : 0) + beta * p.levels[i]!;
  }
}

function turnOne(p: Float32Array, r: Float32Array, count: Float32Array, ridge: number, beta: number): void {
  for (let i = 0; i < p.length; i++) {
    const weight = count[i]! + ridge;
    p[i] = (weight > 0 ? r[i]! / weight : 0) + beta * p[i]!;
  }
}

function dot(a: Float32Array, b: Float32Array): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += a[i]! * b[i]!;
  return sum;
}

function dot64(a: Float64Array, b: Float64Array): number {
  return a.reduce((sum, value, i) => sum + value * b[i]!, 0);
}

function addScaled(onto: Float32Array, from: Float32Array, factor: number): void {
  for (let i = 0; i < onto.length; i++) onto[i]! += factor * from[i]!;
}
