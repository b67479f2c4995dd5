import { expect, test } from "vitest";
import {
  applyToFloat32,
  applyToFloatImage,
  applyToUint16,
  prepareFlat,
} from "../../../../agent/imaging/combining/apply.ts";
import { maskBits } from "../../../../agent/imaging/combining/mask-bits.ts";

const shape = { widthPx: 8, heightPx: 8 };
const gain = Float32Array.from({ length: 64 }, (_, i) => 0.8 + 0.4 * ((i % 8) / 7));

function flatWith(masked: Readonly<Record<number, number>> = {}) {
  const mask = new Uint8Array(64);
  for (const [i, bits] of Object.entries(masked)) mask[Number(i)] = bits;
  return { shape, gain, sigma: new Float32Array(64).fill(0.001), mask, levelAdu: 40_000 };
}

const image = Uint16Array.from(gain, (g) => Math.round(100 + 20_000 * g));
const darkAdu = new Float32Array(64).fill(100);

test("an evenly lit image turns even and keeps its level, in float32 and in uint16", () => {
  const factors = prepareFlat(flatWith(), { darkAdu });
  const float = applyToFloat32(image, factors);
  for (const value of float.imageAdu) expect(value).toBeCloseTo(20_000, -1);
  const whole = applyToUint16(image, factors, { pedestalAdu: 100 });
  expect(whole.imageAdu).toEqual(Uint16Array.from(float.imageAdu, (value) => Math.floor(value + 100.5)));
  expect(whole.counts).toEqual({ mendedPx: 0, leftPx: 0, clampedPx: 0 });
  const again = applyToFloatImage(Float32Array.from(image), factors);
  expect(again.imageAdu).toEqual(float.imageAdu);
});

test("a hot pixel is mended from its neighbours, an unlit one is left undivided", () => {
  const struck = image.slice();
  struck[27] = 65_535;
  const factors = prepareFlat(flatWith({ 27: maskBits.unhealthy, 0: maskBits.unlit }), { darkAdu });
  const { imageAdu, counts } = applyToFloat32(struck, factors);
  expect(Math.abs(imageAdu[27]! / imageAdu[28]! - 1)).toBeLessThan(1e-3);
  expect(imageAdu[0]).toBe(image[0]! - 100);
  expect(counts.mendedPx).toBe(1);
});

test("a whole patch of masked pixels is mended from further out, or left and counted", () => {
  const all = Object.fromEntries(Array.from({ length: 64 }, (_, i) => [i, maskBits.unhealthy as number]));
  const { counts } = applyToFloat32(image, prepareFlat(flatWith(all)));
  expect(counts).toMatchObject({ mendedPx: 0, leftPx: 64 });
});

test("uint16 results are held within the range, and the clamped ones counted", () => {
  const bright = new Uint16Array(64).fill(65_000);
  const { imageAdu, counts } = applyToUint16(bright, prepareFlat(flatWith()));
  expect(Math.max(...imageAdu)).toBe(65_535);
  expect(counts.clampedPx).toBe(gain.filter((g) => 65_000 / g >= 65_535.5).length);
});

test("keeping the median level divides by the flat's median", () => {
  const skew = { ...flatWith(), gain: Float32Array.from({ length: 64 }, (_, i) => (i < 40 ? 1.2 : 0.6)) };
  const { imageAdu } = applyToFloat32(
    new Uint16Array(64).fill(1200),
    prepareFlat(skew, { keepLevel: "median" }),
  );
  expect(imageAdu[0]).toBeCloseTo(1200, 2);
});
