import { expect, test } from "vitest";
import { compiledDivision, plainDivision } from "../../../../agent/imaging/combining/flat-division.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const seed = 20260714;

test.each([0, 300, -80_000, 70_000])(
  "pedestal %i: compiled and plain division agree bit for bit",
  (pedestalAdu) => {
    const random = new Random(seed);
    const division = compiledDivision()!;
    for (const pxCount of [1, 7, 8, 4095, 4096, 4097, 10_003]) {
      const image = Uint16Array.from({ length: pxCount }, () => 65_536 * random.uniform());
      const factor = Float32Array.from({ length: pxCount }, () => 0.3 + 1.5 * random.uniform());
      const noise = Float32Array.from({ length: pxCount }, () => 300 + 20 * random.gauss());
      for (const darkAdu of [undefined, noise]) {
        const parts = { factor, darkAdu, pedestalAdu };
        const what = `${pxCount} px, ${darkAdu ? "dark" : "no dark"}, seed ${seed}`;
        const [reals, wantedReals] = [new Float32Array(pxCount), new Float32Array(pxCount)];
        division.divide(image, parts, reals);
        plainDivision.divide(image, parts, wantedReals);
        expect(reals, what).toEqual(wantedReals);
        const [counts, wantedCounts] = [new Uint16Array(pxCount), new Uint16Array(pxCount)];
        const clamped = division.divideToCounts(image, parts, counts);
        expect(clamped, what).toBe(plainDivision.divideToCounts(image, parts, wantedCounts));
        expect(counts, what).toEqual(wantedCounts);
      }
    }
  },
);
