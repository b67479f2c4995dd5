import { expect, test } from "vitest";
import { makeFlatDivision } from "../../../../agent/imaging/combining/flat-division.ts";
import type { StoredDivision } from "../../../../agent/imaging/combining/stored-division.ts";
import { sumOfBytes } from "../../../../drivers/formats/fits-checksum.ts";
import { encodePixels } from "../../../../drivers/formats/fits-write.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { plainDivision } from "../../../reference/flat-division.ts";

const seed = 20260714;

/** The sums of an image and of what it becomes, which must lie in the result as FITS stores it. */
function told(raw: Uint8Array, wanted: Float32Array | Uint16Array, { result }: StoredDivision) {
  const bytes = new Uint8Array(wanted.byteLength);
  encodePixels(wanted, bytes);
  expect(result(0, bytes.length)).toEqual(bytes);
  return { raw: sumOfBytes(raw), result: sumOfBytes(bytes) };
}

test.each([0, 300, -80_000, 70_000])(
  "pedestal %i: compiled and plain division agree bit for bit",
  (pedestalAdu) => {
    const random = new Random(seed);
    for (const pxCount of [1, 7, 8, 4095, 4096, 4097, 10_003]) {
      const image = Uint16Array.from({ length: pxCount }, () => 65_536 * random.uniform());
      const factor = Float32Array.from({ length: pxCount }, () => 0.3 + 1.5 * random.uniform());
      const noise = Float32Array.from({ length: pxCount }, () => 300 + 20 * random.gauss());
      for (const darkAdu of [undefined, noise]) {
        const division = makeFlatDivision(pxCount, darkAdu !== undefined);
        const plain = plainDivision(pxCount, darkAdu !== undefined);
        for (const made of [division, plain]) {
          made.factor.set(factor);
          if (darkAdu) made.darkAdu?.set(darkAdu);
        }
        const what = `${pxCount} px, ${darkAdu ? "dark" : "no dark"}, seed ${seed}`;
        const [reals, wantedReals] = [new Float32Array(pxCount), new Float32Array(pxCount)];
        division.divide(image, pedestalAdu, reals);
        plain.divide(image, pedestalAdu, wantedReals);
        expect(reals, what).toEqual(wantedReals);
        const [counts, wantedCounts] = [new Uint16Array(pxCount), new Uint16Array(pxCount)];
        const clamped = division.divideToCounts(image, pedestalAdu, counts);
        expect(clamped, what).toBe(plain.divideToCounts(image, pedestalAdu, wantedCounts));
        expect(counts, what).toEqual(wantedCounts);
        const { stored } = division;
        encodePixels(image, stored.raw);
        const toCounts = stored.toCounts(pedestalAdu);
        expect(toCounts.clampedPx, what).toBe(clamped);
        expect(toCounts.sums, what).toEqual(told(stored.raw, wantedCounts, stored));
        const toReals = stored.toReals(pedestalAdu);
        expect(toReals.sums, what).toEqual(told(stored.raw, wantedReals, stored));
        encodePixels(
          Uint16Array.from(image, (value) => 65_535 - value),
          stored.raw,
        );
        // Shorter than the one before: nothing of that one is left behind it.
        expect(stored.toCounts(pedestalAdu).sums.result, what).toBe(
          sumOfBytes(stored.result(0, 4 * pxCount)),
        );
      }
    }
  },
);
