import { type FrameLogs, FrameLogsInMemory, logUnit, noLog } from "./frame-logs.ts";
import type { ObjectGrid } from "./object-grid.ts";
import { addUpsampled, binMean } from "./resample.ts";
import { type Counts, countValues, type Problem, type Unknowns, viewOf } from "./problem.ts";

const side = 4;
const toleranceRelative = 1e-4;
const iterationsMost = 60;

/**
 * Large scales converge slowly in sweeps: what is left of the frames is binned, solved at a quarter of the resolution
 * by conjugate gradients, and the correction interpolated back.
 * @param scratch as long as the gain
 * @returns how many iterations it took
 */
export function* coarseCorrection(
  problem: Problem,
  unknowns: Unknowns,
  model: Float32Array,
  scratch: Float32Array,
): Generator<void, number> {
  const logs = new FrameLogsInMemory();
  for (const frameIndex of problem.frames) {
    const view = viewOf(problem, frameIndex);
    scratch.fill(0);
    problem.kernels.gather(view, unknowns.levels[frameIndex]!, unknowns.gain, unknowns.object, scratch);
    logs.put(frameIndex, binResiduals(view.logs, scratch, problem.shape));
    yield;
  }
  const coarse = coarseProblem(problem, logs);
  const { kernels, shape, grid } = coarse;
  const correction: Unknowns = {
    levels: new Float64Array(unknowns.levels.length),
    gain: kernels.floats(shape.widthPx * shape.heightPx),
    object: kernels.floats(grid.widthPx * grid.heightPx),
  };
  const fromModel = binMean(difference(unknowns.object, model), problem.grid, side, coarse.grid);
  const iterations = yield* conjugateGradients(coarse, correction, fromModel);
  for (const frameIndex of problem.frames) unknowns.levels[frameIndex]! += correction.levels[frameIndex]!;
  addUpsampled(correction.gain, coarse.shape, side, unknowns.gain, problem.shape);
  addUpsampled(correction.object, coarse.grid, side, unknowns.object, problem.grid);
  return iterations;
}

function coarseProblem(problem: Problem, logs: FrameLogs): Problem {
  const { shape, grid } = problem;
  const small: ObjectGrid = {
    originX: grid.originX / side,
    originY: grid.originY / side,
    widthPx: Math.ceil(grid.widthPx / side) + 1,
    heightPx: Math.ceil(grid.heightPx / side) + 1,
  };
  return {
    ...problem,
    logs,
    shape: { widthPx: Math.floor(shape.widthPx / side), heightPx: Math.floor(shape.heightPx / side) },
    grid: small,
    shifts: problem.shifts.map(({ x, y }) => ({ x: x / side, y: y / side })),
    ridge: problem.ridge / (side * side),
  };
}

function difference(a: Float32Array, b: Float32Array): Float32Array {
  const result = new Float32Array(a.length);
  for (let i = 0; i < a.length; i++) result[i] = a[i]! - b[i]!;
  return result;
}

/** Means of residuals in blocks, in units of `logUnit`; a block with less than half of its pixels has none. */
function binResiduals(
  logs: Int16Array,
  residuals: Float32Array,
  { widthPx, heightPx }: { widthPx: number; heightPx: number },
): Int16Array {
  const [width, height] = [Math.floor(widthPx / side), Math.floor(heightPx / side)];
  const binned = new Int16Array(width * height);
  const sums = new Float32Array(width);
  const counts = new Int32Array(width);
  for (let y = 0; y < height; y++) {
    sums.fill(0);
    counts.fill(0);
    for (let row = y * side; row < (y + 1) * side; row++) {
      for (let x = 0, from = row * widthPx; x < width; x++) {
        for (let k = 0; k < side; k++, from++) {
          // Without a value the residual is zero.
          sums[x]! += residuals[from]!;
          counts[x]! += logs[from]! === noLog ? 0 : 1;
        }
      }
    }
    for (let x = 0; x < width; x++) {
      binned[y * width + x] =
        2 * counts[x]! < side * side
          ? noLog
          : Math.max(-32767, Math.min(32767, Math.round(sums[x]! / counts[x]! / logUnit)));
    }
  }
  return binned;
}

/**
 * Minimises Σ w (q - c - G - T O)² + ridge Σ (O + fromModel)² for c, G and O, from zero; Jacobi preconditioner.
 * Source: M. R. Hestenes and E. Stiefel, J. Research Nat. Bureau of Standards 49 (1952) 409.
 */
function* conjugateGradients(
  problem: Problem,
  x: Unknowns,
  fromModel: Float32Array,
): Generator<void, number> {
  const { kernels, frames, ridge } = problem;
  const frameCount = x.levels.length;
  const vector = (): Unknowns => ({
    levels: new Float64Array(frameCount),
    gain: kernels.floats(x.gain.length),
    object: kernels.floats(x.object.length),
  });
  const counts: Counts = {
    gain: kernels.floats(x.gain.length),
    object: kernels.floats(x.object.length),
    frame: new Float64Array(frameCount),
  };
  yield* countValues(problem, counts);
  const multiply = function* (data: 0 | 1, sign: 1 | -1, p: Unknowns, out: Unknowns) {
    out.gain.fill(0);
    out.object.fill(0);
    for (const frameIndex of frames) {
      const factors = { data, sign };
      const view = viewOf(problem, frameIndex);
      out.levels[frameIndex] = kernels.normal(view, factors, p.levels[frameIndex]!, p.gain, p.object, out);
      yield;
    }
  };
  const [r, p, ap] = [vector(), vector(), vector()];
  yield* multiply(1, 1, x, r); // x is zero: the right-hand side
  for (let i = 0; i < fromModel.length; i++) r.object[i]! -= ridge * fromModel[i]!;
  const start = preconditioned(r, counts, ridge);
  let rz = start;
  let beta = 0;
  for (let iteration = 0; iteration < iterationsMost; iteration++) {
    turn(p, r, counts, ridge, beta);
    yield* multiply(0, -1, p, ap);
    for (let i = 0; i < p.object.length; i++) ap.object[i]! += ridge * p.object[i]!;
    const curvature = dot(p.gain, ap.gain) + dot(p.object, ap.object) + dot64(p.levels, ap.levels);
    if (!(curvature > 0)) return iteration;
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
    if (next < toleranceRelative ** 2 * start) return iteration + 1;
    beta = next / rz;
    rz = next;
  }
  return iterationsMost;
}

/** r · M⁻¹ r */
function preconditioned(r: Unknowns, counts: Counts, ridge: number): number {
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
function turn(p: Unknowns, r: Unknowns, counts: Counts, ridge: number, beta: number): void {
  turnOne(p.gain, r.gain, counts.gain, 0, beta);
  turnOne(p.object, r.object, counts.object, ridge, beta);
  for (let i = 0; i < p.levels.length; i++) {
    const weight = counts.frame[i]!;
    p.levels[i] = (weight > 0 ? r.levels[i]! / weight : 0) + beta * p.levels[i]!;
  }
}

function turnOne(
  p: Float32Array,
  r: Float32Array,
  count: Float32Array,
  ridge: number,
  beta: number,
): void {
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
