import { expect, test } from "vitest";
import { medianNoise } from "../../agent/files/median-noise.ts";
import { type CombineOptions, combineFrames } from "../../agent/imaging/combining/combine.ts";
import { leastSquaresRatio, medianRatio } from "../../agent/imaging/combining/frame-scale.ts";
import { framesBuy } from "../../agent/imaging/noise/frames-enough.ts";
import { RunningMoments } from "../../agent/imaging/noise/running-moments.ts";
import { medianAndSigma } from "../../agent/imaging/numerics/order-statistics.ts";
import { Random } from "../../drivers/kit/random.ts";
import { check } from "./check.ts";

/** Combines one pixel's values, one a frame. */
function combine(values: ArrayLike<number>, options: CombineOptions) {
  let result = { value: Number.NaN, sigmaOfMean: Number.NaN, kept: 0 };
  combineFrames(
    {
      frameCount: values.length,
      pxCount: 1,
      readPixels: (frame, _startPx, into) => into.fill(values[frame]!),
    },
    options,
    (tile) => {
      result = { value: tile.value[0]!, sigmaOfMean: tile.sigmaOfMean[0]!, kept: tile.keptCount[0]! };
    },
  );
  return result;
}

const three = { lowSigma: 3, highSigma: 3 } as const;

test("ten values with one far out: what each way of combining makes of them", () => {
  const { inputs, expected } = check("combine.ten");
  const { values } = inputs;
  expect(combine(values, { method: "mean" }).value).toBeCloseTo(expected.mean, 5);
  expect(combine(values, { method: "mean" }).sigmaOfMean).toBeCloseTo(expected.std0 / Math.sqrt(10), 5);
  expect(combine(values, { method: "median" }).value).toBeCloseTo(expected.median, 5);
  expect(medianAndSigma(values)!.sigma).toBeCloseTo(expected.madStd, 5);
  const meanStd = combine(values, {
    method: "clipped",
    ...three,
    centre: "mean",
    deviation: "std",
    passes: 5,
  });
  expect(meanStd.kept).toBe(expected.clip3MeanStdKept);
  const medianMad = combine(values, { method: "clipped", ...three, centre: "median", deviation: "mad" });
  expect(medianMad.kept).toBe(expected.clip3MedianMadKept);
  expect(medianMad.value).toBeCloseTo(expected.clippedMean, 5);
});

test("one value among n can lie no further out than √(n-1): clipping just below that rejects it, just above never", () => {
  const { inputs, expected, tolerance } = check("combine.max-z");
  for (const [index, n] of inputs.n.entries()) {
    const values = Array.from({ length: n }, (_, k) => (k === 0 ? 1e6 : 100));
    const about = (limit: number) =>
      ({ lowSigma: limit, highSigma: limit, centre: "mean", deviation: "std" }) as const;
    const z = expected.ddof0[index];
    expect(combine(values, { method: "clipped", ...about(z - tolerance.abs) }).kept, `n ${n}`).toBe(n - 1);
    expect(combine(values, { method: "clipped", ...about(z + tolerance.abs) }).kept, `n ${n}`).toBe(n);
  }
});

test("mean and variance of a stream of large numbers", () => {
  const { inputs, expected } = check("combine.welford");
  const moments = new RunningMoments();
  for (const value of inputs.values) moments.add(value);
  expect(moments.mean).toBe(expected.mean);
  expect(moments.variance).toBeCloseTo(expected.varianceN1, 9);
});

test("what clipping throws away of good values, and the spread that it leaves", () => {
  const { inputs, expected } = check("combine.clip-fraction");
  const seed = 20260714;
  const random = new Random(seed);
  const n = 60_000;
  const values = Float64Array.from({ length: n }, () => random.gauss());
  for (const [index, k] of inputs.k.entries()) {
    const share = expected.rejected[index];
    const clipped = combine(values, { method: "clipped", lowSigma: k, highSigma: k, deviation: "std" });
    const chance = 4 * Math.sqrt((share * (1 - share)) / n) + 1 / n; // four sigma of a count
    expect(Math.abs(1 - clipped.kept / n - share), `k ${k}, seed ${seed}`).toBeLessThan(chance);
    const spread = clipped.sigmaOfMean * Math.sqrt(clipped.kept);
    expect(Math.abs(spread - expected.stdAfter[index]), `k ${k}, seed ${seed}`).toBeLessThan(0.012);
  }
});

test("the noise of a median against a mean's is within 1 % of the order-statistic integral", () => {
  const { inputs, expected } = check("combine.median-variance");
  for (const [index, n] of inputs.n.entries()) {
    expect(Math.abs(medianNoise(n) / Math.sqrt(expected.varMedianOverVarMean[index]) - 1)).toBeLessThan(0.01);
  }
  expect(medianNoise(1e9) ** 2).toBeCloseTo(expected.limit, 6);
});

test("how much brighter a frame is: the median ratio is not pulled by one odd pixel, least squares is", () => {
  const { inputs, expected } = check("combine.scale");
  expect(leastSquaresRatio(inputs.frame, inputs.master)).toBeCloseTo(expected.leastSquares, 6);
  // Whole counts: the same ratios, ten times as large.
  const frame = Uint16Array.from(inputs.frame, (value: number) => 10 * value);
  const master = Float32Array.from(inputs.master, (value: number) => 10 * value);
  expect(medianRatio(frame, new Float32Array(3), master, Uint32Array.of(0, 1, 2))).toBeCloseTo(
    expected.medianRatio,
    6,
  );
});

test("what a flat of few frames adds to the noise of a stack", () => {
  const { inputs, expected, tolerance } = check("combine.noise-factor");
  inputs.flatsPerImageFrame.forEach((flatsPerImage: number, k: number) => {
    const imagesToStack = 60;
    const bought = framesBuy(imagesToStack * flatsPerImage, 0.01, { imagesToStack, imageOverFlatLevel: 1 });
    expect(Math.abs(1 + bought.addedNoiseFraction - expected.factor[k])).toBeLessThan(tolerance.abs);
  });
});
