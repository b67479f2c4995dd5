import { expect, test } from "vitest";
import { conversionOfPair } from "../../../../agent/imaging/noise/conversion-of-pair.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const seed = 88;
const shape = { widthPx: 320, heightPx: 256 };
const pxCount = shape.widthPx * shape.heightPx;
const readNoiseAdu = 3;
const pedestalAdu = 200;

/** Granules of 8 px and 5 %, moved between both frames by a third of a pixel, and 3 % less light in the second. */
function pair(electronsPerAdu: number) {
  const random = new Random(seed);
  const gain = Float32Array.from({ length: pxCount }, () => 1 + 0.01 * random.gauss());
  const take = (light: number, movedPx: number) =>
    Uint16Array.from({ length: pxCount }, (_, i) => {
      const x = (i % shape.widthPx) - movedPx;
      const y = Math.floor(i / shape.widthPx);
      const wave = (at: number) => Math.sin((2 * Math.PI * at) / 8);
      const electrons = light * gain[i]! * electronsPerAdu * 9000 * (1 + 0.05 * wave(x) * wave(y));
      const seen = (electrons + Math.sqrt(electrons) * random.gauss()) / electronsPerAdu;
      return Math.round(pedestalAdu + seen + readNoiseAdu * random.gauss());
    });
  return [take(1, 0), take(0.97, 0.33)] as const;
}

const dark = {
  meanAdu: new Float32Array(pxCount).fill(pedestalAdu),
  frameSigmaAdu: new Float32Array(pxCount).fill(Math.hypot(readNoiseAdu, 12 ** -0.5)),
};

test.each([0.25, 1, 5])(
  "%f electrons a count, from two sharp frames between which the air moved the Sun",
  (electronsPerAdu) => {
    const usePx = new Uint8Array(pxCount).fill(1);
    const found = conversionOfPair(pair(electronsPerAdu), dark, usePx, shape)!;
    expect(Math.abs(found.electronsPerAdu - electronsPerAdu), `seed ${seed}`).toBeLessThan(
      4 * found.electronsPerAduSigma,
    );
    expect(found.electronsPerAduSigma / found.electronsPerAdu).toBeLessThan(0.02);
    expect(found.darkNoiseElectrons / (electronsPerAdu * readNoiseAdu)).toBeCloseTo(1, 1);
  },
);

test("pixels that do not count have no say; with none left, or no light, nothing is told", () => {
  const [a, b] = pair(1).map((frame) => frame.slice()) as [Uint16Array, Uint16Array];
  const usePx = new Uint8Array(pxCount).fill(1);
  const before = conversionOfPair([a, b], dark, usePx, shape)!;
  for (let i = 5; i < pxCount; i += 97) {
    usePx[i] = 0;
    a[i] = 65_535;
  }
  const found = conversionOfPair([a, b], dark, usePx, shape)!;
  expect(Math.abs(found.electronsPerAdu / before.electronsPerAdu - 1)).toBeLessThan(0.03);
  expect(conversionOfPair([a, b], dark, new Uint8Array(pxCount), shape)).toBeUndefined();
  const flat = new Uint16Array(pxCount).fill(pedestalAdu + 100);
  expect(conversionOfPair([flat, flat], dark, usePx, shape)).toBeUndefined();
});
