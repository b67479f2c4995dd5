import { expect, test } from "vitest";
import { measureFirstFrames } from "../../../../agent/imaging/combining/first-frames.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { plainStatistics } from "../../../reference/first-frames.ts";

const seed = 20260714;

test.each([2, 3, 7, 11, 12, 16])(
  "%i first frames: compiled and plain figures agree to float32",
  (frameCount) => {
    const random = new Random(seed);
    for (const pxCount of [1, 3, 4, 4095, 4097, 9001]) {
      const darkAdu = Float32Array.from({ length: pxCount }, () => 300 + 5 * random.gauss());
      const frames = Array.from({ length: frameCount }, () => ({
        pixels: Uint16Array.from({ length: pxCount }, (_, px) =>
          px % 97 === 5 || random.uniform() < 0.01 ? 65_000 : 20_000 + 200 * random.gauss(),
        ),
        scale: 1 + 0.02 * random.gauss(),
      }));
      for (const clipAdu of [65_536, 60_000]) {
        const [got, wanted] = [measureFirstFrames, plainStatistics].map((find) =>
          find(frames, darkAdu, clipAdu),
        );
        for (let px = 0; px < pxCount; px++) {
          const what = `pixel ${px} of ${pxCount}, clipped at ${clipAdu}, seed ${seed}`;
          const near = (a: number, b: number, tolerance: number) => Math.abs(a - b) <= tolerance;
          // One step of float32 at 20 000 is 0.002; at 65 000 it is 0.008.
          if (
            !near(got!.medians[px]!, wanted!.medians[px]!, 0.02) ||
            !near(got!.spreads[px]!, wanted!.spreads[px]!, 0.03) ||
            !near(Math.sqrt(got!.variances[px]!), Math.sqrt(wanted!.variances[px]!), 0.03)
          )
            expect(pick(got!, px), what).toEqual(pick(wanted!, px));
        }
      }
    }
  },
);

function pick(figures: ReturnType<typeof plainStatistics>, px: number) {
  return [figures.medians[px], figures.variances[px], figures.spreads[px]];
}
