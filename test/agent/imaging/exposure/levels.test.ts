import { expect, test } from "vitest";
import { clipLevelAdu, converterCodes } from "../../../../agent/imaging/exposure/converter-codes.ts";
import {
  countCodes,
  countHealthyCodes,
  fractionAtOrAbove,
  fractionAtOrBelow,
  quantileAdu,
} from "../../../../agent/imaging/exposure/histogram.ts";
import { upperEdge } from "../../../../agent/imaging/exposure/upper-edge.ts";
import {
  medianAndSigma,
  medianInPlace,
  quantile,
} from "../../../../agent/imaging/numerics/order-statistics.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const seed = 5;

test("quantiles of a histogram are those of the sorted pixels", () => {
  const random = new Random(seed);
  for (const n of [1, 2, 7, 1000]) {
    const pixels = Uint16Array.from({ length: n }, () => random.whole(0, 65535));
    const counts = countCodes(pixels);
    for (const fraction of [0, 0.1, 0.5, 0.731, 0.999, 1])
      expect(quantileAdu(counts, fraction), `n ${n}, ${fraction}`).toBeCloseTo(
        quantile(pixels, fraction)!,
        6,
      );
  }
  expect(quantileAdu(new Uint32Array(65536), 0.5)).toBeUndefined();
});

test("the median of a histogram is that of the pixels", () => {
  const random = new Random(seed);
  const pixels = Uint16Array.from({ length: 5001 }, () => Math.round(1000 + 37 * random.gauss()));
  expect(quantileAdu(countCodes(pixels), 0.5)).toBe(medianAndSigma(pixels)!.median);
});

test("median in place: odd, even, equal, reversed", () => {
  expect(medianInPlace(Float64Array.of(3, 1, 2))).toBe(2);
  expect(medianInPlace(Float64Array.of(4, 1, 3, 2))).toBe(2.5);
  expect(medianInPlace(new Float64Array(9).fill(7))).toBe(7);
  expect(medianInPlace(new Float64Array(0))).toBeUndefined();
});

test("fractions at the ends of the range", () => {
  const counts = countCodes(Uint16Array.of(0, 0, 5, 65535));
  expect(fractionAtOrBelow(counts, 0)).toBe(0.5);
  expect(fractionAtOrAbove(counts, 65535)).toBe(0.25);
});

test("hot pixels own the maximum but not the upper edge", () => {
  const random = new Random(seed);
  const pixels = Uint16Array.from({ length: 100_000 }, () => Math.round(40_000 + 400 * random.gauss()));
  const clean = upperEdge(countCodes(pixels), { pedestalAdu: 1000, fullScaleAdu: 65535 })!;
  const unhealthy = new Uint8Array(pixels.length);
  for (let k = 0; k < 30; k++) {
    const i = random.whole(0, pixels.length - 1);
    pixels[i] = 65535;
    unhealthy[i] = 1;
  }
  const hot = upperEdge(countCodes(pixels), { pedestalAdu: 1000, fullScaleAdu: 65535 })!;
  const mapped = upperEdge(countHealthyCodes(pixels, unhealthy), { pedestalAdu: 1000, fullScaleAdu: 65535 })!;
  expect(clean.edgeAdu).toBeCloseTo(40_000 + 3.09 * 400, -2);
  expect(Math.abs(hot.edgeAdu - clean.edgeAdu)).toBeLessThan(100); // 0.03 % of hot ones shift a 0.1 % quantile a little
  expect(Math.abs(mapped.edgeAdu - clean.edgeAdu)).toBeLessThan(20);
});

test("dark sky around the disc is not lit, and does not drag the edge down", () => {
  const pixels = new Uint16Array(100_000).fill(1010);
  pixels.fill(50_000, 0, 40_000);
  const edge = upperEdge(countCodes(pixels), { pedestalAdu: 1000, fullScaleAdu: 65535 })!;
  expect(edge).toMatchObject({ edgeAdu: 50_000, litPx: 40_000, medianLitAdu: 50_000 });
});

test("a sensor that clips below the converter's top is caught by the pile on its highest code", () => {
  const random = new Random(seed);
  const early = Uint16Array.from({ length: 50_000 }, () =>
    Math.min(51_200, Math.round(50_000 + 1500 * random.gauss())),
  );
  expect(clipLevelAdu(countCodes(early))).toBe(51_200);
  const free = Uint16Array.from({ length: 50_000 }, () => Math.round(40_000 + 500 * random.gauss()));
  expect(clipLevelAdu(countCodes(free))).toBeUndefined();
});

test("sixteen bits and plain twelve bits are told apart", () => {
  const random = new Random(seed);
  const whole = Uint16Array.from({ length: 20_000 }, () => random.whole(0, 65535));
  expect(converterCodes(countCodes(whole))).toMatchObject({ depthBits: 16, stepAdu: 1, topAdu: 65535 });
  const plain = Uint16Array.from({ length: 20_000 }, () => random.whole(0, 4095));
  expect(converterCodes(countCodes(plain))).toMatchObject({ depthBits: 12, stepAdu: 1, topAdu: 4095 });
});
