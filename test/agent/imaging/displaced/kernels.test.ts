import { expect, test } from "vitest";
import { noLog } from "../../../../agent/imaging/displaced/frame-logs.ts";
import {
  type FrameView,
  makeSweepKernels,
  type SweepKernels,
} from "../../../../agent/imaging/displaced/sweep-kernels.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { plainKernels } from "../../../reference/sweep-kernels.ts";

const seed = 20260801;

/** One frame, a gain and an object of random numbers, the same for every set of kernels. */
function stage(kernels: SweepKernels, widthPx: number, rightShare: number) {
  const random = new Random(seed + widthPx);
  const [heightPx, gridWidthPx, gridHeightPx] = [9, widthPx + 7, 15];
  const logs = Int16Array.from({ length: widthPx * heightPx }, () =>
    random.uniform() < 0.1 ? noLog : random.whole(-3000, 3000),
  );
  const filled = (length: number) => {
    const array = kernels.floats(length);
    for (let i = 0; i < length; i++) array[i] = 0.1 * random.gauss();
    return array;
  };
  const frame: FrameView = {
    logs,
    widthPx,
    heightPx,
    weight: 0.7,
    gridWidthPx,
    place: { index: 3 * gridWidthPx + 2, rightShare, lowerShare: 0.35 },
  };
  const gain = filled(widthPx * heightPx);
  const object = filled(gridWidthPx * gridHeightPx);
  return {
    frame,
    gain,
    object,
    gainSum: filled(gain.length),
    objectSum: filled(object.length),
  };
}

function all(kernels: SweepKernels, widthPx: number, rightShare: number): number[] {
  const { frame, gain, object, gainSum, objectSum } = stage(kernels, widthPx, rightShare);
  const level = 0.05;
  const shift = kernels.shiftSums(frame, level, gain, object, 0.12);
  const results = [
    kernels.count(frame, gainSum, objectSum),
    kernels.gather(frame, level, gain, object, gainSum),
    kernels.normal(frame, { data: 1, sign: 1 }, level, gain, object, { gain: gainSum, object: objectSum }),
    kernels.normal(frame, { data: 0, sign: -1 }, level, gain, object, { gain: gainSum, object: objectSum }),
    kernels.squares(frame, level, gain, object, gainSum),
    shift.rx,
    shift.ry,
    shift.xx,
    shift.xy,
    shift.yy,
  ];
  kernels.scatter(frame, level, gain, objectSum);
  return [...results, ...gainSum, ...objectSum];
}

test("the compiled kernels do what their plain twins do, at any width and share", () => {
  for (const widthPx of [1, 3, 4, 5, 8, 30, 33]) {
    for (const rightShare of [0, 0.4, 0.99]) {
      const room = { widthPx, heightPx: 9, arrays: 4, floats: 2 * 9 * widthPx + 2 * 15 * (widthPx + 7) };
      const compiled = makeSweepKernels(room);
      const ours = all(compiled, widthPx, rightShare);
      const twins = all(plainKernels(room), widthPx, rightShare);
      expect(ours.length).toBe(twins.length);
      const worst = Math.max(...ours.map((value, i) => Math.abs(value - twins[i]!)));
      expect(worst, `width ${widthPx}, share ${rightShare}, seed ${seed}`).toBeLessThan(2e-5);
    }
  }
});

test("spreading is the transpose of sampling: the same product either way", () => {
  const kernels = plainKernels({ widthPx: 30, heightPx: 9, arrays: 0, floats: 0 });
  const { frame, object } = stage(kernels, 30, 0.4);
  const nothing = new Float32Array(frame.logs.length);
  const zeros = { ...frame, weight: 1, logs: frame.logs.map((log) => (log === noLog ? noLog : 0)) };
  const sampled = new Float32Array(nothing.length);
  kernels.gather(zeros, 0, nothing, object, sampled); // minus what is seen of the object
  const spread = new Float32Array(object.length);
  kernels.scatter({ ...frame, weight: 1 }, 0, nothing, spread);
  const inFrame = frame.logs.reduce((sum, log, i) => sum - (log === noLog ? 0 : log * 1e-4 * sampled[i]!), 0);
  const onGrid = spread.reduce((sum, value, i) => sum + value * object[i]!, 0);
  expect(onGrid).toBeCloseTo(inFrame, 4);
});

test("a frame larger than was said is refused", () => {
  const kernels = makeSweepKernels({ widthPx: 8, heightPx: 8, arrays: 4, floats: 400 });
  const { frame, gain, object, gainSum } = stage(kernels, 8, 0.4);
  const larger = { ...frame, logs: new Int16Array(80) };
  expect(() => kernels.gather(larger, 0, gain, object, gainSum)).toThrow(RangeError);
});
