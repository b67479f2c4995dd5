import { expect, test } from "vitest";
import { coarseCorrection } from "../../../../agent/imaging/displaced/coarse-correction.ts";
import { CoarseWork } from "../../../../agent/imaging/displaced/coarse-work.ts";
import { FrameLogsInMemory } from "../../../../agent/imaging/displaced/frame-logs.ts";
import { objectGrid } from "../../../../agent/imaging/displaced/object-grid.ts";
import { TaskPool } from "../../../../agent/imaging/displaced/piece-work.ts";
import type { Problem } from "../../../../agent/imaging/displaced/problem.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { plainKernels } from "../../../reference/sweep-kernels.ts";

const seed = 20261128;
const shape = { widthPx: 64, heightPx: 48 };
const pxCount = shape.widthPx * shape.heightPx;

/** The gain that is found, from nothing, of frames that all count the same. */
function gainFound(weight: number): Float32Array {
  const random = new Random(seed);
  const shifts = [
    { x: 0, y: 0 },
    { x: 9, y: 2 },
    { x: -7, y: 8 },
    { x: 3, y: -9 },
  ];
  const grid = objectGrid(shape, shifts);
  const gridPx = grid.widthPx * grid.heightPx;
  const kernels = plainKernels({ ...shape, arrays: 0, floats: 0 });
  const logs = new FrameLogsInMemory();
  const pattern = (i: number) =>
    300 * Math.sin((i % shape.widthPx) / 9) + 200 * Math.cos(i / shape.widthPx / 7);
  for (const frame of shifts.keys())
    logs.put(
      frame,
      Int16Array.from({ length: pxCount }, (_, i) => pattern(i) + 20 * random.gauss()),
    );
  const problem: Problem = {
    work: new TaskPool({ kernels, logs: { full: logs } }),
    scale: "full",
    ...{ shape, shifts, grid },
    frames: [0, 1, 2, 3],
    weights: new Float64Array(4).fill(weight),
    ridge: 0.02 * weight, // counts as so much of a frame
  };
  const unknowns = {
    levels: new Float64Array(4),
    gain: new Float32Array(pxCount),
    object: new Float32Array(gridPx),
  };
  const work = new CoarseWork(kernels, problem, 4);
  problem.work.useLogs("coarse", work.logs);
  const use = { scratch: new Float32Array(pxCount), work, least: 0 };
  for (const _ of coarseCorrection(problem, unknowns, new Float32Array(gridPx), use));
  return unknowns.gain;
}

test("frames that all count half as much give the same gain", () => {
  const [whole, half] = [gainFound(1), gainFound(0.5)];
  const largest = Math.max(...whole.map(Math.abs));
  expect(largest).toBeGreaterThan(0.02); // 300 units of 1e-4
  const worst = Math.max(...whole.map((value, i) => Math.abs(value - half[i]!)));
  expect(worst / largest, `seed ${seed}`).toBeLessThan(0.01);
});
