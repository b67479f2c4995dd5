import { expect, test } from "vitest";
import { combineFrames } from "../../../../agent/imaging/combining/combine.ts";
import { commonSigmaAdu, fitCommonNoise } from "../../../../agent/imaging/combining/common-noise.ts";
import { fewRejectedByChance, sigmaOfMad } from "../../../../agent/imaging/combining/few-frames.ts";
import type { FrameStack } from "../../../../agent/imaging/combining/frame-stack.ts";
import { medianAndSigma } from "../../../../agent/imaging/numerics/order-statistics.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const seed = 20260714;
const fewCounts = [3, 4, 5, 6, 7, 8, 9, 10, 11];
const pxCount = 40_000;

function stackOf(frames: readonly Float64Array[]): FrameStack {
  return {
    frameCount: frames.length,
    pxCount: frames[0]!.length,
    readPixels: (frame, start, into) => into.set(frames[frame]!.subarray(start, start + into.length)),
  };
}

function framesOf(count: number, value: (frame: number, px: number) => number): Float64Array[] {
  return Array.from({ length: count }, (_, frame) =>
    Float64Array.from({ length: pxCount }, (_, px) => value(frame, px)),
  );
}

function clipped(frames: readonly Float64Array[]): { value: Float64Array; rejectedShare: number } {
  const value = new Float64Array(pxCount);
  const { rejected, values } = combineFrames(stackOf(frames), { method: "clipped" }, (tile) =>
    value.set(tile.value, tile.startPx),
  );
  return { value, rejectedShare: rejected / values };
}

test.each(fewCounts)("%i frames: the median absolute deviation tells sigma without a bias", (n) => {
  const random = new Random(seed + n);
  const draws = 40_000;
  let sum = 0;
  for (let k = 0; k < draws; k++)
    sum += medianAndSigma(Float64Array.from({ length: n }, () => random.gauss()))!.sigma / 1.4826;
  // One of them scatters by 0.6 of itself at three frames, by less at more: four sigma of their mean.
  expect(Math.abs((sum / draws) * sigmaOfMad(n) - 1), `seed ${seed + n}`).toBeLessThan(0.012);
});

test.each(fewCounts)("%i frames of noise: about as many values are left out as 3 sigma do", (n) => {
  const random = new Random(seed + n);
  const { rejectedShare } = clipped(framesOf(n, () => 30_000 + 170 * random.gauss()));
  const chance = 4 * Math.sqrt(fewRejectedByChance / (n * pxCount));
  expect(rejectedShare, `seed ${seed + n}`).toBeLessThan(fewRejectedByChance + chance);
  expect(rejectedShare, `seed ${seed + n}`).toBeGreaterThan(0.0012);
});

test.each(fewCounts)("%i frames, one with hits in some pixels: what they leave is noise", (n) => {
  const random = new Random(seed + n);
  const isHit = (px: number) => px % 100 === 0;
  const { value } = clipped(
    framesOf(n, (frame, px) => 30_000 + 170 * random.gauss() + (frame === 1 && isHit(px) ? 10_000 : 0)),
  );
  const hit = value.filter((_, px) => isHit(px));
  const excess = hit.reduce((sum, v) => sum + v - 30_000, 0) / hit.length;
  const noise = 170 / Math.sqrt((n - 1) * hit.length);
  expect(Math.abs(excess), `seed ${seed + n}, of ${10_000 / n}`).toBeLessThan(
    4 * noise + 0.003 * (10_000 / n),
  );
});

test("hits of many sizes in one value of a hundred do not widen the common noise", () => {
  const random = new Random(seed);
  const frames = framesOf(10, (_, px) => {
    const level = 2000 + 58_000 * (px / pxCount);
    const hit = random.uniform() < 0.005 ? 20_000 * random.uniform() : 0;
    return Math.round(level + Math.sqrt(100 + 0.5 * level) * random.gauss() + hit);
  });
  const noise = fitCommonNoise(stackOf(frames));
  for (const level of [5000, 30_000, 55_000]) {
    const ratio = commonSigmaAdu(noise, level) / Math.sqrt(100 + 0.5 * level);
    expect(Math.abs(ratio - 1), `${level} adu, seed ${seed}`).toBeLessThan(0.05);
  }
});

test("five frames through haze: a frame of another level is no outlier, for light that changes is noise", () => {
  const random = new Random(seed);
  const transparency = [1, 0.997, 1.001, 0.96, 1.003];
  const { rejectedShare } = clipped(
    framesOf(5, (frame) => 30_000 * transparency[frame]! + 170 * random.gauss()),
  );
  expect(rejectedShare, `seed ${seed}`).toBeLessThan(fewRejectedByChance);
});

test("a hot pixel, noisier than its neighbours, keeps most of its values", () => {
  const random = new Random(seed);
  const isHot = (px: number) => px % 50 === 0;
  const frames = framesOf(9, (_, px) => 500 + (isHot(px) ? 100 : 10) * random.gauss());
  let [kept, hotPx] = [0, 0];
  combineFrames(stackOf(frames), { method: "clipped" }, (tile) => {
    for (const [i, count] of tile.keptCount.entries()) {
      if (!isHot(tile.startPx + i)) continue;
      kept += count;
      hotPx++;
    }
  });
  expect(kept / (9 * hotPx), `seed ${seed}`).toBeGreaterThan(0.95);
});

test("two frames that differ: nobody knows which is right, so both count", () => {
  const { rejectedShare } = clipped(framesOf(2, (frame, px) => (frame === 1 && px % 100 === 0 ? 9000 : 100)));
  expect(rejectedShare).toBe(0);
});
