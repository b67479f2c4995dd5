import { afterAll, describe, expect, test } from "vitest";
import { combineFrames } from "../../../../agent/imaging/combining/combine.ts";
import { CountCombiner } from "../../../../agent/imaging/combining/combine-counts.ts";
import { fitCommonNoise } from "../../../../agent/imaging/combining/common-noise.ts";
import type { FrameStack } from "../../../../agent/imaging/combining/frame-stack.ts";
import { Random } from "../../../../drivers/kit/random.ts";

function stackOf(frames: readonly Uint16Array[]): FrameStack {
  return {
    frameCount: frames.length,
    pxCount: frames[0]!.length,
    readPixels: (frame, start, into) => into.set(frames[frame]!.subarray(start, start + into.length)),
  };
}

/** What the kernels are held to: the plain way, in float64, rounded once. */
function plainly(frames: readonly Uint16Array[], method: "mean" | "clipped" | "median") {
  const pxCount = frames[0]!.length;
  const [value, sigma, kept] = [0, 1, 2].map(() => new Float64Array(pxCount)) as [
    Float64Array,
    Float64Array,
    Float64Array,
  ];
  const { rejected } = combineFrames(stackOf(frames), { method }, (tile) => {
    value.set(tile.value, tile.startPx);
    sigma.set(tile.sigmaOfMean, tile.startPx);
    kept.set(tile.keptCount, tile.startPx);
  });
  const mask = Uint8Array.from(kept, (count, px) => {
    const clipped = frames.filter((frame) => frame[px]! >= clipAdu).length;
    return (
      (clipped > Math.max(1, Math.floor(frames.length / 50)) ? 2 : 0) | (2 * count < frames.length ? 8 : 0)
    );
  });
  const less = (dark?: { value: Float32Array; sigma: Float32Array }) => ({
    value: Float32Array.from(value, (one, px) => one - (dark?.value[px] ?? 0)),
    sigma: Float32Array.from(sigma, (one, px) => {
      const own = one * (method === "median" ? noise : 1);
      return kept[px]! < 2 ? Number.NaN : Math.hypot(own, dark?.sigma[px] ?? 0);
    }),
  });
  return { less, mask, rejected, maskedPx: mask.filter((bits) => bits !== 0).length };
}

const noise = 1.2;
const clipAdu = 60_000;

/** One per shape for all scenes and methods: each brings a WebAssembly memory, and making one collects all garbage. */
const combiners = new Map<string, CountCombiner>();
afterAll(() => combiners.clear());

function combinerOf(frameCount: number, tilePx: number): CountCombiner {
  const key = `${frameCount} ${tilePx}`;
  const combiner = combiners.get(key) ?? new CountCombiner({ frameCount, tilePx });
  combiners.set(key, combiner);
  return combiner;
}

function compiled(frames: readonly Uint16Array[]) {
  const pxCount = frames[0]!.length;
  const combiner = combinerOf(frames.length, pxCount);
  for (let first = 0; first < frames.length; first += combiner.framesAtOnce) {
    const some = frames.slice(first, first + combiner.framesAtOnce);
    for (const [place, frame] of some.entries()) {
      const bytes = combiner.frame(place, pxCount);
      const view = new DataView(bytes.buffer, bytes.byteOffset);
      frame.forEach((count, px) => {
        view.setInt16(2 * px, count - 32768);
      });
    }
    combiner.gather(first, some.length, pxCount);
  }
  const common = fitCommonNoise(stackOf(frames));
  return (method: "mean" | "clipped" | "median", dark?: { value: Float32Array; sigma: Float32Array }) =>
    combiner.combine(pxCount, {
      method,
      sigmas: 3,
      noise: common,
      zeroAdu: 32768,
      medianNoise: noise,
      clipAdu,
      darkAdu: dark?.value,
      darkSigmaAdu: dark?.sigma,
    });
}

const scenes = {
  "dark corners, a bright middle": (random: Random) => {
    const level = 500 + 50_000 * random.uniform() ** 2;
    return (
      level + Math.sqrt(level) * random.gauss() + (random.uniform() < 0.02 ? 9_000 * random.uniform() : 0)
    );
  },
  "a flat with outliers": (random: Random) =>
    30_000 + 170 * random.gauss() + (random.uniform() < 0.03 ? 25_000 * random.uniform() : 0),
  "counts from end to end": (random: Random) => 65_536 * random.uniform(),
  "few levels, many ties": (random: Random) => 1000 + 3 * random.uniform(),
  "all at one end": (random: Random) => (random.uniform() < 0.4 ? 0 : 65_535),
  "one level": () => 4000,
  "two levels": (random: Random) => 65_000 + (random.uniform() < 0.5 ? 0 : 120),
  "two levels, 8 bits apart": (random: Random) => 30_000 + (random.uniform() < 0.5 ? 0 : 254),
  "two levels, far apart": (random: Random) => (random.uniform() < 0.5 ? 60 : 360),
};

describe.each(Object.entries(scenes))("%s", (_name, count) => {
  test.each([1, 2, 3, 4, 5, 7, 8, 9, 10, 11, 12, 15, 16, 17, 50, 99, 101, 260, 1101, 1102])(
    "%i frames: as the plain way",
    (n) => {
      const random = new Random(20260714 + n);
      // What differs by the number of pixels is told by few frames; many cost the plain way much.
      for (const pxCount of n > 1000 ? [61] : n > 64 ? [1, 61] : [1, 61, 530]) {
        const frames = Array.from({ length: n }, () =>
          Uint16Array.from({ length: pxCount }, () =>
            Math.max(0, Math.min(65_535, Math.floor(count(random)))),
          ),
        );
        const dark = {
          value: Float32Array.from({ length: pxCount }, () => 300 + random.gauss()),
          sigma: Float32Array.from({ length: pxCount }, () => 3 * random.uniform()),
        };
        const combine = compiled(frames);
        for (const method of ["mean", "clipped", "median"] as const) {
          const wanted = plainly(frames, method);
          for (const darkOrNone of [dark, undefined]) {
            const got = combine(method, darkOrNone);
            const { value, sigma } = wanted.less(darkOrNone);
            const what = `${method}, ${darkOrNone ? "dark" : "no dark"}, ${pxCount} px, seed ${20260714 + n}`;
            expect(got.rejected, what).toBe(wanted.rejected);
            expect(got.maskedPx, what).toBe(wanted.maskedPx);
            expect(Buffer.compare(got.mask, wanted.mask), what).toBe(0);
            expect(worstInSteps(got.value, value), what).toBeLessThanOrEqual(1);
            expect(worstInSteps(got.sigma, sigma), what).toBeLessThanOrEqual(1);
          }
        }
      }
    },
  );
});

/** In steps of float32; the same value is 0, and a rounding that falls the other way 1. */
function worstInSteps(values: Float32Array, wanted: Float32Array): number {
  let worst = 0;
  for (let i = 0; i < values.length; i++) {
    if (Object.is(values[i], wanted[i]) || values[i] === wanted[i]) continue;
    const step = 2 ** (Math.floor(Math.log2(Math.abs(wanted[i]!))) - 23);
    const steps = Math.abs(values[i]! - wanted[i]!) / step;
    worst = Math.max(worst, Number.isNaN(steps) ? Number.POSITIVE_INFINITY : steps);
  }
  return worst;
}
