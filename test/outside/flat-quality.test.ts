import { expect, test } from "vitest";
import { dustDistanceMm } from "../../agent/imaging/dust/dust.ts";
import { RunningMoments } from "../../agent/imaging/noise/running-moments.ts";
import { type GreyScale, greyTest } from "../../agent/imaging/proof/grey-test.ts";
import { judgeLeak } from "../../agent/imaging/proof/leak.ts";
import { Random } from "../../drivers/kit/random.ts";
import { check } from "./check.ts";

test("test data: uniform and normal numbers from a seed are the published ones", () => {
  const uniform = check("prng.mulberry");
  const random = new Random(uniform.inputs.seed);
  uniform.agrees(
    "first4",
    [1, 2, 3, 4].map(() => random.uniform()),
  );
  const normal = check("prng.gauss");
  const gauss = new Random(normal.inputs.seed);
  normal.agrees(
    "first4",
    [1, 2, 3, 4].map(() => gauss.gauss()),
  );
});

test("block variance ratio of noise with a cosine, of noise alone, and of the cosine alone", () => {
  const one = check("quality.block-chi2");
  const { size, blocks } = one.inputs;
  const shape = { widthPx: size, heightPx: size };
  const everywhere = new Uint8Array(size * size).fill(1);
  const sigma = new Float32Array(size * size).fill(0.01);
  const scalesOf = (amplitude: number, noise: number) => {
    const random = new Random(51);
    const picture = Float32Array.from(
      { length: size * size },
      (_, i) => 1 + noise * random.gauss() + amplitude * Math.cos((2 * Math.PI * (i % size)) / 256),
    );
    return greyTest(picture, sigma, everywhere, shape, blocks);
  };
  const ratios = (scales: GreyScale[]) => scales.map((scale) => scale.ratio);
  const excess = (scales: GreyScale[]) => scales.find((scale) => scale.sidePx === 16)!.excess;
  const waved = scalesOf(0.005, 0.01);
  one.agrees("ratio", ratios(waved));
  expect(excess(waved)).toBeCloseTo(0.005 / Math.SQRT2, 4);
  const noise = scalesOf(0, 0.01);
  one.agrees("noiseOnly", ratios(noise));
  expect(excess(noise)).toBe(0);
  // Noise that is stated but not there counts 1, to be added; an endless cosine has its variance with n.
  one.agrees(
    "analytic",
    scalesOf(0.005, 0).map(({ ratio, blocks: n }) => 1 + (ratio * (n - 1)) / n),
  );
});

test("distance of dust from the size of its shadow", () => {
  const one = check("quality.dust-distance");
  const { donutPx, pixelUm, fNumber } = one.inputs;
  one.agrees(
    "distanceMm",
    donutPx.map((px: number, k: number) => dustDistanceMm(px, pixelUm[k], fNumber[k])),
  );
});

test("what 16 frames of 2 adu leave uncertain of a leak's mean over a million pixels, and of one block of its map", () => {
  const one = check("leak.sd");
  const { sigmaDn, frames, pixels } = one.inputs;
  const report = (side: number) => {
    const random = new Random(5);
    const meanOfFrames = () =>
      Float32Array.from({ length: side * side }, () => 100 + (sigmaDn / Math.sqrt(frames)) * random.gauss());
    return judgeLeak({
      shape: { widthPx: side, heightPx: side },
      coveredAdu: meanOfFrames(),
      darkAdu: meanOfFrames(),
      coveredLevelsAdu: new Array(frames).fill(100),
      darkLevelsAdu: new Array(frames).fill(100),
      flatLevelAdu: 3000,
    });
  };
  expect(pixels).toEqual([1000 * 1000, 64 * 64]);
  const [million, whole] = [report(1000), report(1024)]; // whole blocks only in the second
  one.agrees("sdOfDifference", [million.meanLeakSigmaAdu, whole.blockSigmaAdu]);
  expect(million.found).toBe(false);
  // The map scatters by what is stated: 256 blocks know it to 4.4 %.
  const blocks = Array.from(whole.mapAdu);
  const scatter = Math.sqrt(RunningMoments.of(blocks).sampleVariance);
  expect(Math.abs(scatter / whole.blockSigmaAdu - 1)).toBeLessThan(0.15);
});
