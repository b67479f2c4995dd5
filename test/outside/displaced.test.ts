import { expect, test } from "vitest";
import { FrameLogsInMemory, logUnit } from "../../agent/imaging/displaced/frame-logs.ts";
import { fullSweeps } from "../../agent/imaging/displaced/full-sweeps.ts";
import { objectGrid } from "../../agent/imaging/displaced/object-grid.ts";
import { goldenSpiral } from "../../agent/imaging/displaced/pattern.ts";
import { plainKernels } from "../../agent/imaging/displaced/plain-kernels.ts";
import {
  type Counts,
  countValues,
  forEachView,
  type Problem,
  type Unknowns,
} from "../../agent/imaging/displaced/problem.ts";
import { unseparatedShare } from "../../agent/imaging/displaced/separation.ts";
import { patterns } from "../campaign/displaced-scene/patterns.ts";
import { trial } from "../campaign/displaced-scene/trial.ts";
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

function tinyProblem(ridge: number): { problem: Problem; unknowns: Unknowns; counts: Counts } {
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
      kernels,
      shape,
      logs,
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
  expect(logsAt(1, 7, 5)).toBeCloseTo(tiny.expected.d1_row5_col7, 8);
  expect(logsAt(3, 23, 0)).toBeCloseTo(tiny.expected.d3_row0_col23, 8);
  const { problem, unknowns, counts } = tinyProblem(0);
  for (const _ of countValues(problem, counts));
  const sums = { gain: new Float32Array(side * side), object: new Float32Array(unknowns.object.length) };
  const model = new Float32Array(unknowns.object.length);
  let swept = 0;
  for (const [sweeps, rms] of Object.entries(tiny.expected.alsRmsNoPlane as Record<string, number>)) {
    for (const _ of fullSweeps(problem, unknowns, counts, { sums, model, sweeps: Number(sweeps) - swept }));
    swept = Number(sweeps);
    const error = rmsWithoutPlane((x, y) => unknowns.gain[y * side + x]! / enlarged - gainAt(x, y));
    if (swept < 1000)
      expect(Math.abs(error / rms - 1), `after ${swept}: ${error}`).toBeLessThan(tiny.tolerance.rel);
    // Further than 16-bit steps allow nobody needs to go: 10⁻⁴/√12 over 10, a mean of 7.
    else expect(error).toBeLessThan(2e-6);
  }
  const average = rmsWithoutPlane(
    (x, y) =>
      shifts.reduce((sum, _, frame) => sum + logsAt(frame, x, y) - tiny.inputs.c[frame], 0) / 7 -
      gainAt(x, y),
  );
  expect(Math.abs(average / tiny.expected.plainAverageRms - 1)).toBeLessThan(tiny.tolerance.rel);
});

test("a plane moved from Sun and levels to the gain changes no frame, and no residual of ours", () => {
  const { inputs, tolerance } = check("displaced.degeneracy");
  for (const frame of shifts.keys())
    for (const [x, y] of [
      [0, 0],
      [23, 5],
      [11, 19],
    ] as const)
      expect(Math.abs(logsAt(frame, x, y, inputs.k) - logsAt(frame, x, y))).toBeLessThan(tolerance.abs);
  const residuals = (k: readonly [number, number]) => {
    const { problem, unknowns } = tinyProblem(0);
    const { grid } = problem;
    for (let i = 0; i < side * side; i++) unknowns.gain[i] = k[0] * (i % side) + k[1] * Math.floor(i / side);
    for (let i = 0; i < unknowns.object.length; i++)
      unknowns.object[i] =
        -k[0] * ((i % grid.widthPx) - grid.originX) - k[1] * (Math.floor(i / grid.widthPx) - grid.originY);
    const found: number[] = [];
    const visit = forEachView(problem, (view, frame, { startPx, endPx }) => {
      const level = -k[0] * shifts[frame]!.x - k[1] * shifts[frame]!.y;
      const square = new Float32Array(endPx - startPx);
      found.push(
        problem.kernels.squares(view, level, unknowns.gain.subarray(startPx, endPx), unknowns.object, square),
      );
    });
    for (const _ of visit);
    return found;
  };
  const [without, withPlane] = [residuals([0, 0]), residuals(inputs.k)];
  for (const [frame, sum] of without.entries()) expect(withPlane[frame]! / sum).toBeCloseTo(1, 5);
});

test("how well a spiral tells a slow mode of the gain from the Sun", () => {
  const { inputs, expected, tolerance } = check("displaced.S");
  for (const [k, reachPx] of inputs.A.entries()) {
    const share = unseparatedShare(goldenSpiral(inputs.N, reachPx), 1 / inputs.wavelengthPx, 0);
    expect(Math.abs(share - expected.S2[k]), `A ${reachPx}`).toBeLessThan(tolerance.abs);
    expect(Math.abs(-1 / Math.log(share) - expected.iterationsPerEfold[k])).toBeLessThan(
      0.06 + 0.01 / (1 - share),
    );
  }
});

test("scenes of the measured table: the same targets in our own simulation", async () => {
  const { inputs, expected } = check("displaced.measured");
  for (const [a, n, most] of [
    [0, 2, 1.5],
    [1, 1, 1.35],
    [2, 1, 1.35],
    [3, 1, 1.35],
  ] as const) {
    const plan = { seed: 3, pattern: patterns.spiral(inputs.N[n], inputs.A[a]) };
    const { solved, floor, average } = await trial(plan);
    const told = `A ${inputs.A[a]}, N ${inputs.N[n]}: solved ${solved}, floor ${floor}, average ${average}`;
    expect(solved / floor, told).toBeLessThan(most);
    expect(solved / average, told).toBeLessThan(0.2);
    expect(Math.abs((100 * floor) / expected.floorPercent[n] - 1), told).toBeLessThan(0.15); // scenes of one kind
  }
});
