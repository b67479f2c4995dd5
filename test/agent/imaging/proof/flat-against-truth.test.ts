import { expect, test } from "vitest";
import { flatAgainstTruth } from "../../../../agent/imaging/proof/flat-against-truth.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const shape = { widthPx: 256, heightPx: 128 };
const pxCount = shape.widthPx * shape.heightPx;
const truth = Float32Array.from({ length: pxCount }, (_, i) => 1 + 0.2 * Math.sin(i / 900));

function measured(sigmaTrue: number, sigmaClaimed: number) {
  const random = new Random(5);
  const master = truth.map((value) => 3 * value * (1 + sigmaTrue * random.gauss()));
  const sigma = master.map((value) => value * sigmaClaimed);
  return flatAgainstTruth({ ...shape, master, sigma, mask: new Uint8Array(pxCount), truth });
}

test("an honest master errs as it says, whatever its scale", () => {
  const result = measured(0.002, 0.002)!;
  expect(result.rmsError / 0.002).toBeCloseTo(1, 1);
  expect(result.rmsError / result.rmsExpected).toBeCloseTo(1, 1);
  expect(Math.abs(result.withinOneSigma - 0.6827)).toBeLessThan(0.01);
  expect(result.rmsErrorBlocks).toBeLessThan(0.002 / 20);
});

test("a master that claims half its noise is found out", () => {
  expect(measured(0.002, 0.001)!.withinOneSigma).toBeLessThan(0.42);
});

test("masked pixels do not count, and none left is no answer", () => {
  const master = truth.slice();
  master[7] = Number.NaN;
  const mask = new Uint8Array(pxCount);
  mask[7] = 1;
  const sigma = truth.map(() => 0.01);
  expect(flatAgainstTruth({ ...shape, master, sigma, mask, truth })!.rmsError).toBe(0);
  expect(flatAgainstTruth({ ...shape, master, sigma, mask: mask.fill(1), truth })).toBeUndefined();
});
