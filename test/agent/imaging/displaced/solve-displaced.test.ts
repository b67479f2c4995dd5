import { describe, expect, test } from "vitest";
import { maskBits } from "../../../../agent/imaging/combining/mask-bits.ts";
import {
  type DisplacedInput,
  type DisplacedSolution,
  solveDisplaced,
} from "../../../../agent/imaging/displaced/solve-displaced.ts";
import { type MakeKernels, makeSweepKernels } from "../../../../agent/imaging/displaced/sweep-kernels.ts";
import { loadFft } from "../../../../agent/imaging/numerics/fft-library.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { driftingFrames } from "../../../bench/displaced-frames.ts";
import { groups, rowText, run } from "../../../campaign/displaced.ts";
import { patterns } from "../../../campaign/displaced-scene/patterns.ts";
import { plainKernels } from "../../../reference/sweep-kernels.ts";

const fft = await loadFft();
const shape = { widthPx: 203, heightPx: 150 };
const shifts = patterns.spiral(24, 30);
const painted = driftingFrames({ ...shape, shifts, seed: 7 });

function solve(input: Partial<DisplacedInput> = {}, makeKernels: MakeKernels = makeSweepKernels) {
  const frames = painted.frames;
  const readLevels = (frameIndex: number, into: Float32Array) => into.set(frames[frameIndex]!);
  const work = solveDisplaced(
    { shape, frameCount: frames.length, readLevels, ...input },
    { fft, makeKernels },
  );
  const stages: string[] = [];
  let done = 0;
  for (;;) {
    const step = work.next();
    if (step.done) return { solution: step.value, stages };
    expect(step.value.done).toBeGreaterThanOrEqual(done - 1e-9);
    done = step.value.done;
    if (stages.at(-1) !== step.value.stage) stages.push(step.value.stage);
  }
}

/** Rms of ln(flat / truth), mean removed, over trusted pixels. */
function errorOf({ flat }: DisplacedSolution): number {
  const errors = [...flat.gain].flatMap((gain, i) =>
    flat.mask[i] === 0 ? [Math.log(gain / painted.gain[i]!)] : [],
  );
  const mean = errors.reduce((sum, error) => sum + error, 0) / errors.length;
  return Math.sqrt(errors.reduce((sum, error) => sum + (error - mean) ** 2, 0) / errors.length);
}

const floor = 0.01 / Math.sqrt(shifts.length);

test("gain, shifts and noise of a drift series, found blind; in stages that can be watched", () => {
  const { solution, stages } = solve();
  expect(stages).toEqual(["reading", "registering", "solving"]);
  expect(errorOf(solution)).toBeLessThan(1.2 * floor);
  for (const [k, { shift, dropped }] of solution.frames.entries()) {
    expect(dropped).toBeUndefined();
    expect(Math.abs(shift.x - shifts[k]!.x + shifts[0]!.x)).toBeLessThan(0.1);
    expect(Math.abs(shift.y - shifts[k]!.y + shifts[0]!.y)).toBeLessThan(0.1);
  }
  const { gain, sigma } = solution.flat;
  const typical = sigma.map((value, i) => value / gain[i]!).sort()[sigma.length >> 1]!;
  expect(typical / errorOf(solution)).toBeGreaterThan(0.85);
  expect(typical / errorOf(solution)).toBeLessThan(1.4);
  expect(gain.reduce((sum, value) => sum + value, 0) / gain.length).toBeCloseTo(1, 5);
});

describe("halves of the frames", () => {
  const solveChanged = (change: (levels: Float32Array, frameIndex: number) => void) =>
    solve({
      readLevels: (frameIndex, into) => {
        into.set(painted.frames[frameIndex]!);
        change(into, frameIndex);
      },
    }).solution.halves;
  const rows = Array.from({ length: shape.heightPx }, (_, y) => y);

  test("even and odd frames of a steady rig differ as their scatter promises, and its halves by nothing", () => {
    const { evenOdd, firstSecond } = solve().solution.halves;
    expect(evenOdd.frames).toBe(shifts.length);
    expect(Math.abs(evenOdd.measured / evenOdd.expected - 1)).toBeLessThan(0.02);
    expect(Math.abs(evenOdd.measured / floor - 1)).toBeLessThan(0.15);
    expect(firstSecond).toMatchObject({ firstFrames: 12, secondFrames: 12, blockSidePx: 32 });
    expect(firstSecond!.driftRms).toBeLessThan(5e-4);
  });

  test("every second frame has a pattern of its own of 1 %: seen between even and odd", () => {
    const random = new Random(11);
    const pattern = Float32Array.from(painted.gain, () => 1 + 0.01 * random.gauss());
    const { evenOdd } = solveChanged((levels, k) => {
      if (k % 2 === 1) for (let i = 0; i < levels.length; i++) levels[i]! *= pattern[i]!;
    });
    expect(evenOdd.measured / evenOdd.expected).toBeGreaterThan(2);
  });

  test("a slope of 2 % that comes in half way is seen between first and second half, at its size", () => {
    const slope = (y: number) => 0.02 * (y / (shape.heightPx - 1) - 0.5);
    const { evenOdd, firstSecond } = solveChanged((levels, k) => {
      if (k < shifts.length / 2) return;
      for (const y of rows)
        for (let x = 0; x < shape.widthPx; x++) levels[y * shape.widthPx + x]! *= 1 + slope(y);
    });
    const rms = 0.02 / Math.sqrt(12);
    expect(firstSecond!.driftRms / rms).toBeGreaterThan(0.8);
    expect(firstSecond!.driftRms / rms).toBeLessThan(1.1);
    expect(evenOdd.measured / evenOdd.expected).toBeLessThan(1.2);
  });
});

test("the plain kernels solve to the same flat", () => {
  const [compiled, plain] = [solve().solution, solve({}, plainKernels).solution];
  const worst = Math.max(...compiled.flat.gain.map((gain, i) => Math.abs(gain - plain.flat.gain[i]!)));
  expect(worst).toBeLessThan(2e-4);
});

test("a frame without light and one of something else are left out, and say why", () => {
  const readLevels = (frameIndex: number, into: Float32Array) => {
    into.set(painted.frames[frameIndex]!);
    if (frameIndex === 5) into.fill(0);
    if (frameIndex === 11) for (let i = 0; i < into.length; i++) into[i]! *= i % 203 > 90 ? 0.6 : 1;
  };
  const { solution } = solve({ readLevels });
  expect(solution.frames.flatMap(({ dropped }, k) => (dropped ? [[k, dropped]] : []))).toEqual([
    [5, "no light"],
    [11, "unlike the others"],
  ]);
  expect(errorOf(solution)).toBeLessThan(1.3 * floor);
});

test("pixels without a value in any frame are unlit in the mask and carry 1", () => {
  const readLevels = (frameIndex: number, into: Float32Array) => {
    into.set(painted.frames[frameIndex]!);
    into.fill(Number.NaN, 0, 203);
  };
  const { flat } = solve({ readLevels }).solution;
  expect(flat.mask[100]).toBe(maskBits.unlit);
  expect(flat.gain[100]).toBe(1);
  expect(flat.mask[300]).toBe(0);
});

test("shifts that were expected win over blind ones that are far off", () => {
  const wrong = shifts.map((shift, k) => (k === 3 ? { x: shift.x + 40, y: shift.y } : shift));
  const { solution } = solve({ expectedShifts: wrong });
  // Held at the wrong place, the frame fits nothing and is left out; all others were found blind.
  expect(solution.frames.flatMap(({ dropped }, k) => (dropped ? [k] : []))).toEqual([3]);
});

test("too few frames with light are refused", () => {
  expect(() => solve({ frameCount: 2 })).toThrow(RangeError);
});

test("one scene of the campaign: jumps of transparency, a spoiled frame, unknown shifts", async () => {
  expect(groups.sample()).toHaveLength(1);
  for (const row of await run({ seed: 20260714, group: "sample" }))
    expect(row.broken, rowText(row)).toEqual([]);
});
