import { expect, test } from "vitest";
import { type CombineOptions, combineFrames } from "../../agent/imaging/combining/combine.ts";
import { medianRatio } from "../../agent/imaging/combining/frame-scale.ts";
import { computeNoiseBudget } from "../../agent/imaging/noise/frames-enough.ts";
import { medianNoise } from "../../agent/imaging/noise/median-noise.ts";
import { RunningMoments } from "../../agent/imaging/noise/running-moments.ts";
import { clippedNormal } from "../../agent/imaging/numerics/normal.ts";
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

/** Deviation with n, as it comes with a mean. */
function deviation(values: readonly number[]): number {
  return combine(values, { method: "mean" }).sigmaOfMean * Math.sqrt(values.length);
}

const sampleDeviation = (values: readonly number[]) => Math.sqrt(RunningMoments.of(values).sampleVariance);

test("ten values with one far out: what each way of combining makes of them", () => {
  const one = check("combine.ten");
  const { values } = one.inputs;
  const mean = combine(values, { method: "mean" }).value;
  one.agrees("mean", mean);
  one.agrees("std0", deviation(values));
  one.agrees("std1", sampleDeviation(values));
  // Why nothing here clips about the mean: by mean and deviation as they are, the one far out is within 3.
  const withinThree = values.filter((v: number) => Math.abs(v - mean) <= 3 * deviation(values));
  one.agrees("clip3MeanStdKept", withinThree.length);
  one.agrees("median", combine(values, { method: "median" }).value);
  one.agrees("madStd", medianAndSigma(values)!.sigma);
  const clipped = combine(values, { method: "clipped" });
  one.agrees("clippedMean", clipped.value);
  one.agrees("clip3MedianMadKept", clipped.kept); // all but the one far out
});

test("one value among n can lie no further out than √(n-1) deviations from the mean", () => {
  const one = check("combine.max-z");
  const rows: number[][] = one.inputs.n.map((n: number) =>
    Array.from({ length: n }, (_, k) => (k === 0 ? 60_000 : 100)),
  );
  const z = (deviation: (values: number[]) => number) =>
    rows.map((values) => (values[0]! - combine(values, { method: "mean" }).value) / deviation(values));
  one.agrees("ddof0", z(deviation));
  one.agrees("ddof1", z(sampleDeviation));
});

test("mean and variance of a stream of large numbers", () => {
  const one = check("combine.welford");
  const moments = RunningMoments.of(one.inputs.values);
  one.agrees("mean", moments.mean);
  one.agrees("varianceN1", moments.sampleVariance);
  one.agrees("varianceN", moments.variance);
});

test("what clipping throws away of good values, and the spread that it leaves: by integral, and of random numbers", () => {
  const one = check("combine.clip-fraction");
  const limits: number[] = one.inputs.k;
  one.agrees(
    "rejected",
    limits.map((k) => clippedNormal(k).rejected),
  );
  one.agrees(
    "stdAfter",
    limits.map((k) => clippedNormal(k).sigmaAfter),
  );
  const seed = 20260714;
  const random = new Random(seed);
  const n = 60_000;
  const values = Float64Array.from({ length: n }, () => random.gauss());
  for (const k of limits) {
    const { rejected: share, sigmaAfter } = clippedNormal(k);
    const clipped = combine(values, { method: "clipped", clipSigmas: k });
    const chance = 4 * Math.sqrt((share * (1 - share)) / n) + 1 / n; // four sigma of a count
    expect(Math.abs(1 - clipped.kept / n - share), `k ${k}, seed ${seed}`).toBeLessThan(chance);
    const spread = clipped.sigmaOfMean * Math.sqrt(clipped.kept);
    expect(Math.abs(spread - sigmaAfter), `k ${k}, seed ${seed}`).toBeLessThan(0.012);
  }
});

test("the noise of a median against a mean's", () => {
  const one = check("combine.median-variance");
  one.agrees(
    "varMedianOverVarMean",
    one.inputs.n.map((n: number) => medianNoise(n) ** 2),
  );
  one.agrees("limit", medianNoise(1e9) ** 2);
});

test("how much brighter a frame is: the median ratio is not pulled by one odd pixel, as the listed least squares are", () => {
  const one = check("combine.scale");
  const { inputs, expected } = one;
  // Counts are whole numbers: ten times the listed values.
  const frame = Uint16Array.from(inputs.frame, (value: number) => 10 * value);
  const master = Float32Array.from(inputs.master, (value: number) => 10 * value);
  const ratio = medianRatio(frame, new Float32Array(3), master, Uint32Array.of(0, 1, 2));
  one.agrees("medianRatio", ratio);
  expect(Math.abs(ratio - 2)).toBeLessThan(Math.abs(expected.leastSquares - 2)); // two of the three pixels say 2
});

test("what a flat of few frames adds to the noise of a stack", () => {
  const one = check("combine.noise-factor");
  const imagesToStack = 100;
  one.agrees(
    "factor",
    one.inputs.flatsPerImageFrame.map(
      (flatsPerImage: number) =>
        1 +
        computeNoiseBudget(flatsPerImage * imagesToStack, 0.01, { imagesToStack, imageOverFlatLevel: 1 })
          .addedNoiseFraction,
    ),
  );
});
