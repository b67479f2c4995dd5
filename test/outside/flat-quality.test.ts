import { expect, test } from "vitest";
import { dustDistanceMm } from "../../agent/imaging/dust/dust.ts";
import { greyTest } from "../../agent/imaging/proof/grey-test.ts";
import { judgeLeak } from "../../agent/imaging/proof/leak.ts";
import { Random } from "../../drivers/kit/random.ts";
import { check } from "./check.ts";

test("test data: uniform and normal numbers from a seed are the published ones", () => {
  const uniform = check("prng.mulberry");
  const random = new Random(uniform.inputs.seed);
  for (const value of uniform.expected.first4) expect(random.uniform()).toBeCloseTo(value, 12);
  const normal = check("prng.gauss");
  const gauss = new Random(normal.inputs.seed);
  for (const value of normal.expected.first4) expect(gauss.gauss()).toBeCloseTo(value, 7);
});

test("block variance ratio of noise with a cosine, and of noise alone", () => {
  const { inputs, expected, tolerance } = check("quality.block-chi2");
  const size: number = inputs.size;
  const shape = { widthPx: size, heightPx: size };
  const everywhere = new Uint8Array(size * size).fill(1);
  const sigma = new Float32Array(size * size).fill(0.01);
  for (const [amplitude, wanted] of [
    [0.005, expected.ratio],
    [0, expected.noiseOnly],
  ] as const) {
    const random = new Random(51);
    const picture = Float32Array.from(
      { length: size * size },
      (_, i) => 1 + 0.01 * random.gauss() + amplitude * Math.cos((2 * Math.PI * (i % size)) / 256),
    );
    const scales = greyTest(picture, sigma, everywhere, shape, inputs.blocks);
    scales.forEach((scale, k) => {
      expect(Math.abs(scale.ratio / wanted[k] - 1)).toBeLessThan(tolerance.rel);
    });
    const excess = scales.find((scale) => scale.sidePx === 16)!.excess;
    if (amplitude === 0) expect(excess).toBe(0);
    else expect(excess).toBeCloseTo(0.005 / Math.SQRT2, 4);
  }
});

test("distance of dust from the size of its shadow", () => {
  const { inputs, expected } = check("quality.dust-distance");
  inputs.donutPx.forEach((px: number, k: number) => {
    expect(dustDistanceMm(px, inputs.pixelUm[k], inputs.fNumber[k])).toBeCloseTo(expected.distanceMm[k], 6);
  });
});

test("scatter of the leak map's blocks is what 16 frames of 2 adu allow", () => {
  const { inputs, expected } = check("leak.sd");
  const side = 512;
  const random = new Random(5);
  const meanOfFrames = (level: number) =>
    Float32Array.from(
      { length: side * side },
      () => level + (inputs.sigmaDn / Math.sqrt(inputs.frames)) * random.gauss(),
    );
  const report = judgeLeak({
    shape: { widthPx: side, heightPx: side },
    coveredAdu: meanOfFrames(100),
    darkAdu: meanOfFrames(100),
    coveredLevelsAdu: new Array(16).fill(100),
    darkLevelsAdu: new Array(16).fill(100),
    flatLevelAdu: 3000,
  });
  expect(inputs.pixels[1]).toBe(64 * 64);
  const blocks = Array.from(report.mapAdu);
  const mean = blocks.reduce((a, b) => a + b) / blocks.length;
  const sd = Math.sqrt(blocks.reduce((sum, value) => sum + (value - mean) ** 2, 0) / (blocks.length - 1));
  expect(sd / expected.sdOfDifference[1]).toBeGreaterThan(0.75); // 64 blocks know it to 9 %
  expect(sd / expected.sdOfDifference[1]).toBeLessThan(1.25);
  expect(report.found).toBe(false);
});
