import { expect, test } from "vitest";
import { type LiveSums, type MakeSums, makeLiveSums } from "../../../../agent/imaging/combining/live-sums.ts";
import { tabulateVariance } from "../../../../agent/imaging/noise/noise-by-level.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { plainSums } from "../../../reference/live-sums.ts";

const seed = 20260714;
const sigmas = tabulateVariance({ varianceAt: (levelAdu) => Math.sqrt(Math.max(0, levelAdu)) / 10 });

test.each([
  [1, true],
  [2, false],
  [5, true],
  [8, true],
  [12, false],
])("%i frames in a pass, dark %s: compiled and plain sums agree bit for bit", (frameCount, withDark) => {
  const random = new Random(seed);
  for (const pxCount of [1, 7, 8, 8191, 8193, 20_001]) {
    const reals = (value: () => number) => Float32Array.from({ length: pxCount }, value);
    const known = {
      dark: reals(() => 300 + 5 * random.gauss()),
      reference: reals(() => 20_000 + 200 * random.gauss()),
      // Some wide enough for every sample, so that both ways through the loop are gone.
      limit: reals(() => (random.uniform() < 0.3 ? 80 * random.uniform() : 14_000)),
    };
    if (pxCount > 5) known.reference[5] = Number.NaN;
    const made = (make: MakeSums): LiveSums => {
      const sums = make(pxCount, withDark);
      sums.dark?.set(known.dark);
      sums.reference.set(known.reference);
      sums.limit.set(known.limit);
      sums.setLimits(sigmas, Math.min(8, pxCount), pxCount);
      return sums;
    };
    const [got, wanted] = [made(makeLiveSums), made(plainSums)];
    for (let pass = 0; pass < 3; pass++) {
      const frames = Array.from({ length: frameCount }, () => ({
        pixels: Uint16Array.from({ length: pxCount }, () =>
          random.uniform() < 0.01 ? 65_536 * random.uniform() : 20_300 + 200 * random.gauss(),
        ),
        scale: 1 + 0.02 * random.gauss(),
      }));
      const clipAdu = pass === 2 ? 65_536 : 60_000;
      const half = Math.min(pxCount, Math.ceil(pxCount / 16) * 8);
      for (const sums of [got, wanted]) {
        sums.add(frames, clipAdu, half, pxCount);
        sums.add(frames, clipAdu, 0, half);
      }
    }
    const arrays = ({ sum, squares, rejected, clipped, limit }: LiveSums) => ({
      ...{ sum, squares, rejected, clipped, limit },
    });
    const expected = arrays(wanted);
    expect(arrays(got), `${pxCount} px, seed ${seed}`).toEqual(expected);
    if (pxCount > 1000) {
      expect(Math.max(...got.rejected), `seed ${seed}`).toBeGreaterThan(0);
      expect(Math.max(...got.clipped), `seed ${seed}`).toBeGreaterThan(0);
    }
  }
});

test.each([
  [2, true],
  [11, false],
  [12, true],
])(
  "the first %i frames, dark %s: compiled medians and limits agree to float32, and the frames are in the sums",
  (frameCount, withDark) => {
    const random = new Random(seed);
    for (const pxCount of [1, 7, 513, 9001]) {
      const [compiled, plain, byThem] = [makeLiveSums, plainSums, plainSums].map((make) =>
        make(pxCount, withDark),
      ) as [LiveSums, LiveSums, LiveSums];
      const darks = Float32Array.from({ length: pxCount }, () => 300 + 5 * random.gauss());
      const frames = Array.from({ length: frameCount }, () => ({
        pixels: Uint16Array.from({ length: pxCount }, (_, px) =>
          px % 97 === 5 || random.uniform() < 0.01 ? 65_000 : 20_000 + 200 * random.gauss(),
        ),
        scale: 1 + 0.02 * random.gauss(),
      }));
      const half = Math.min(pxCount, Math.ceil(pxCount / 16) * 8);
      for (const sums of [compiled, plain]) {
        sums.dark?.set(darks);
        sums.begin(frames, 60_000, sigmas, half, pxCount);
        sums.begin(frames, 60_000, sigmas, 0, half);
      }
      for (let px = 0; px < pxCount; px++) {
        const what = `pixel ${px} of ${pxCount}, seed ${seed}`;
        expect(Math.abs(compiled.reference[px]! - plain.reference[px]!), what).toBeLessThan(0.02);
        expect(Math.abs(compiled.limit[px]! - plain.limit[px]!), what).toBeLessThan(0.15);
      }
      byThem.dark?.set(darks);
      byThem.reference.set(compiled.reference);
      byThem.limit.set(compiled.limit);
      byThem.add(frames, 60_000, 0, pxCount);
      for (const what of ["sum", "squares", "rejected", "clipped"] as const)
        expect(compiled[what], `${what} of ${pxCount} px, seed ${seed}`).toEqual(byThem[what]);
    }
  },
);
