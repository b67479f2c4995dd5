import { expect, test } from "vitest";
import { RunningMoments } from "../../../../agent/imaging/noise/running-moments.ts";
import { sameCodeChance } from "../../../../agent/imaging/noise/same-code-chance.ts";
import { unhealthyFromDark } from "../../../../agent/imaging/noise/unhealthy-pixels.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const seed = 4832;
const pxCount = 100_000;
const stuckEvery = 5000;

/** Rounded darks of pixels whose levels lie anywhere between two codes; every so many is stuck, one hot, one unsteady. */
function darks(frameCount: number, sigmaSteps: number, stepAdu = 1) {
  const random = new Random(seed);
  const meanAdu = new Float32Array(pxCount);
  const frameSigmaAdu = new Float32Array(pxCount);
  for (let i = 0; i < pxCount; i++) {
    const level = 60 + random.uniform() + (i === 7 ? 500 : 0);
    const sigma = i % stuckEvery === 1 ? 0 : i === 8 ? 40 * Math.max(1, sigmaSteps) : sigmaSteps;
    const codes = Array.from(
      { length: frameCount },
      () => stepAdu * Math.round(level + sigma * random.gauss()),
    );
    const moments = RunningMoments.of(codes);
    meanAdu[i] = moments.mean;
    frameSigmaAdu[i] = Math.sqrt(moments.sampleVariance);
  }
  return { meanAdu, frameSigmaAdu, frames: { frameCount, stepAdu } };
}

test.each([
  [4, 2, 1],
  [4, 2, 16],
  [16, 0.4, 1],
  [16, 0.2, 1],
])(
  "%i darks with a noise of %f steps of %i adu can't tell a stuck pixel, and call none so",
  (frameCount, sigmaSteps, stepAdu) => {
    const { meanAdu, frameSigmaAdu, frames } = darks(frameCount, sigmaSteps, stepAdu);
    const found = unhealthyFromDark(meanAdu, frameSigmaAdu, frames);
    expect(found, `seed ${seed}`).toMatchObject({
      hotPx: 1,
      stuckPx: undefined,
      unsteadyPx: 1,
    });
    expect(found.unhealthyPx.reduce((sum, one) => sum + one, 0)).toBe(2);
  },
);

test.each([
  [16, 2, 1],
  [16, 2, 16],
  [4, 60, 1],
])(
  "%i darks with a noise of %f steps of %i adu tell those that are stuck, and hardly any other",
  (frameCount, sigmaSteps, stepAdu) => {
    const { meanAdu, frameSigmaAdu, frames } = darks(frameCount, sigmaSteps, stepAdu);
    const { stuckPx } = unhealthyFromDark(meanAdu, frameSigmaAdu, frames);
    expect(stuckPx, `seed ${seed}`).toBeGreaterThanOrEqual(pxCount / stuckEvery);
    expect(stuckPx, `seed ${seed}`).toBeLessThanOrEqual(pxCount / stuckEvery + 3);
  },
);

test.each([
  [4, 0.3],
  [4, 1],
  [4, 2],
  [8, 0.6],
])("chance that %i frames show one code with a noise of %f steps, as counted", (frameCount, sigmaSteps) => {
  const { frameSigmaAdu } = darks(frameCount, sigmaSteps);
  const chance = sameCodeChance(frameCount, sigmaSteps);
  const counted = frameSigmaAdu.reduce((sum, sigma) => sum + (sigma === 0 ? 1 : 0), 0) - pxCount / stuckEvery;
  expect(Math.abs(counted - chance * pxCount), `seed ${seed}`).toBeLessThan(5 * Math.sqrt(chance * pxCount));
});

test("far above a step the chance is as the integral of the normal distribution's power has it", () => {
  for (const n of [2, 4, 16]) {
    const power = (2 * Math.PI * 25) ** ((1 - n) / 2) / Math.sqrt(n);
    expect(sameCodeChance(n, 5) / power).toBeCloseTo(1, 1);
  }
});

test("hot, stuck and unsteady pixels are found in a dark; others are not", () => {
  const random = new Random(seed);
  const mean = Float32Array.from({ length: 20_000 }, () => 800 + 4 * random.gauss());
  const sigma = Float32Array.from({ length: 20_000 }, () => 20 * (1 + 0.2 * random.gauss()));
  mean[11] = 5000;
  sigma[12] = 0;
  sigma[13] = 400;
  const found = unhealthyFromDark(mean, sigma, { frameCount: 16, stepAdu: 1 });
  expect(found).toMatchObject({ hotPx: 1, stuckPx: 1, unsteadyPx: 1 });
  expect(Array.from(found.unhealthyPx.subarray(10, 15))).toEqual([0, 1, 1, 1, 0]);
});
