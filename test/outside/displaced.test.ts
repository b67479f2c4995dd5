import { expect, test } from "vitest";
import { FrameLogsInMemory, logUnit } from "../../agent/imaging/displaced/frame-logs.ts";
import { fullSweeps } from "../../agent/imaging/displaced/full-sweeps.ts";
import { objectGrid } from "../../agent/imaging/displaced/object-grid.ts";
import { addSecond, sharedDoubles } from "../../agent/imaging/displaced/part-sums.ts";
import { partCount, type SolutionArrays } from "../../agent/imaging/displaced/passes.ts";
import { TaskPool } from "../../agent/imaging/displaced/piece-work.ts";
import { type Counts, countValues, type Problem, viewsOf } from "../../agent/imaging/displaced/problem.ts";
import { unseparatedShare } from "../../agent/imaging/displaced/separation.ts";
import { patterns } from "../campaign/displaced-scene/patterns.ts";
import { plainKernels } from "../reference/sweep-kernels.ts";
import { check } from "./check.ts";

const side = 24;
const shape = { widthPx: side, heightPx: side };
const tiny = check("displaced.tiny");
const shifts = (tiny.inputs.shifts as [number, number][]).map(([x, y]) => ({ x, y }));
const gainAt = (x: number, y: number) =>
  0.05 * Math.sin(0.9 * x + 0.4 * y) + 0.03 * Math.cos(1.7 * x - 0.6 * y);
const objectAt = (x: number, y: number) => 0.1 * Math.sin(0.5 * x) + 0.08 * Math.cos(0.35 * y + 0.2 * x);

/** Frames are stored in 16 bits; the problem is linear, so enlarging it makes these steps small. */
const enlarged = 10;

/** D of a frame with a plane k moved from Sun and levels to the gain. */
function logsAt(frame: number, x: number, y: number, [kx, ky]: readonly [number, number] = [0, 0]): number {
  const a = shifts[frame]!;
  return (
    gainAt(x, y) +
    kx * x +
    ky * y +
    objectAt(x - a.x, y - a.y) -
    kx * (x - a.x) -
    ky * (y - a.y) +
    tiny.inputs.c[frame] -
    kx * a.x -
    ky * a.y
  );
}

function tinyProblem(ridge: number): { problem: Problem; unknowns: SolutionArrays; counts: Counts } {
  const grid = objectGrid(shape, shifts);
  const gridPx = grid.widthPx * grid.heightPx;
  const kernels = plainKernels({ ...shape, arrays: 0, floats: 0 });
  const logs = new FrameLogsInMemory();
  for (const frame of shifts.keys()) {
    logs.put(
      frame,
      Int16Array.from({ length: side * side }, (_, i) =>
        Math.round((enlarged * logsAt(frame, i % side, Math.floor(i / side))) / logUnit),
      ),
    );
  }
  return {
    problem: {
      work: new TaskPool({ kernels, logs: { full: logs } }),
      scale: "full",
      shape,
      frames: [...shifts.keys()],
      shifts: [...shifts],
      weights: new Float64Array(shifts.length).fill(1),
      grid,
      ridge,
    },
    unknowns: {
      levels: new Float64Array(shifts.length),
      gain: kernels.floats(side * side),
      object: kernels.floats(gridPx),
    },
    counts: {
      gain: kernels.floats(side * side),
      object: kernels.floats(gridPx),
      frame: new Float64Array(shifts.length),
    },
  };
}

/** Rms of a picture after its mean and plane are taken out. */
function rmsWithoutPlane(picture: (x: number, y: number) => number, withPlane = true): number {
  const middle = (side - 1) / 2;
  let [sum, sx, sy, sxx] = [0, 0, 0, 0];
  const all: [number, number, number][] = [];
  for (let y = 0; y < side; y++)
    for (let x = 0; x < side; x++) all.push([x - middle, y - middle, picture(x, y)]);
  for (const [x, y, value] of all) {
    sum += value;
    sx += x * value;
    sy += y * value;
    sxx += x * x;
  }
  const [kx, ky] = withPlane ? [sx / sxx, sy / sxx] : [0, 0];
  const squares = all.map(([x, y, value]) => (value - sum / all.length - kx * x - ky * y) ** 2);
  return Math.sqrt(squares.reduce((total, square) => total + square, 0) / all.length);
}

test("a tiny noise-free problem: the data, and how fast alternating sweeps converge", () => {
  tiny.agrees("d1_row5_col7", logsAt(1, 7, 5));
  tiny.agrees("d3_row0_col23", logsAt(3, 23, 0));
  const { problem, unknowns, counts } = tinyProblem(0);
  const onGrid = () => new Float32Array(unknowns.object.length);
  const sums = { gain: new Float32Array(side * side), objects: [onGrid(), onGrid()] as const };
  const model = onGrid();
  for (const _ of countValues(problem, counts, onGrid()));
  let swept = 0;
  for (const sweeps of Object.keys(tiny.expected.alsRmsNoPlane)) {
    for (const _ of fullSweeps(problem, unknowns, counts, { sums, model, sweeps: Number(sweeps) - swept }));
    swept = Number(sweeps);
    const error = rmsWithoutPlane((x, y) => unknowns.gain[y * side + x]! / enlarged - gainAt(x, y));
    tiny.agrees(`alsRmsNoPlane.${sweeps}`, error);
  }
  const average = rmsWithoutPlane(
    (x, y) =>
      shifts.reduce((sum, _, frame) => sum + logsAt(frame, x, y) - tiny.inputs.c[frame], 0) / 7 -
      gainAt(x, y),
  );
  tiny.agrees("plainAverageRms", average);
});

test("a plane moved from Sun and levels to the gain changes no frame, and no residual of ours", () => {
  const { inputs } = check("displaced.degeneracy");
  for (const frame of shifts.keys())
    for (const [x, y] of [
      [0, 0],
      [23, 5],
      [11, 19],
    ] as const)
      expect(Math.abs(logsAt(frame, x, y, inputs.k) - logsAt(frame, x, y))).toBeLessThan(1e-12);
  const residuals = (k: readonly [number, number]) => {
    const { problem, unknowns } = tinyProblem(0);
    const { grid } = problem;
    for (let i = 0; i < side * side; i++) unknowns.gain[i] = k[0] * (i % side) + k[1] * Math.floor(i / side);
    for (let i = 0; i < unknowns.object.length; i++)
      unknowns.object[i] =
        -k[0] * ((i % grid.widthPx) - grid.originX) - k[1] * (Math.floor(i / grid.widthPx) - grid.originY);
    for (const frame of shifts.keys())
      unknowns.levels[frame] = -k[0] * shifts[frame]!.x - k[1] * shifts[frame]!.y;
    const sums = { pixels: new Float32Array(side * side), frames: sharedDoubles(shifts.length) };
    const about = { views: viewsOf(problem), unknowns, ...sums };
    for (const _ of problem.work.run("sumSquares", about, partCount));
    return addSecond(sums.frames);
  };
  const [without, withPlane] = [residuals([0, 0]), residuals(inputs.k)];
  for (const [frame, sum] of without.entries()) expect(withPlane[frame]! / sum).toBeCloseTo(1, 5);
});

test("how well a spiral tells a slow mode of the gain from the Sun", () => {
  const one = check("displaced.S");
  const { N, A, wavelengthPx } = one.inputs;
  const shares: number[] = A.map((reachPx: number) =>
    unseparatedShare(patterns.spiral(N, reachPx), 1 / wavelengthPx, 0),
  );
  one.agrees("S2", shares);
  one.agrees(
    "iterationsPerEfold",
    shares.map((share) => -1 / Math.log(share)),
  );
});
