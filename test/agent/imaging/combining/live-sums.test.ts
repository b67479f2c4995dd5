import { expect, test } from "vitest";
import {
  addFramesPlainly,
  compiledAddFrames,
  type MasterSums,
} from "../../../../agent/imaging/combining/live-sums.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const seed = 20260714;

test.each([1, 2, 5, 8])("%i frames in a pass: compiled and plain sums agree bit for bit", (frameCount) => {
  const random = new Random(seed);
  const add = compiledAddFrames()!;
  for (const pxCount of [1, 7, 8, 4095, 4097, 9001]) {
    const reals = (value: () => number) => Float32Array.from({ length: pxCount }, value);
    const darkAdu = reals(() => 300 + 5 * random.gauss());
    const [reference, limit] = [
      reals(() => 20_000 + 200 * random.gauss()),
      reals(() => 400 * random.uniform()),
    ];
    const sums = (): MasterSums => ({
      reference,
      limit,
      sum: new Float32Array(pxCount),
      squares: new Float32Array(pxCount),
      kept: new Uint16Array(pxCount),
      clipped: new Uint16Array(pxCount),
    });
    const [got, wanted] = [sums(), sums()];
    for (let pass = 0; pass < 3; pass++) {
      const frames = Array.from({ length: frameCount }, () => ({
        pixels: Uint16Array.from({ length: pxCount }, () =>
          random.uniform() < 0.05 ? 65_536 * random.uniform() : 20_300 + 200 * random.gauss(),
        ),
        scale: 1 + 0.02 * random.gauss(),
      }));
      const clipAdu = pass === 2 ? 65_536 : 60_000;
      add(frames, darkAdu, clipAdu, got);
      addFramesPlainly(frames, darkAdu, clipAdu, wanted);
    }
    expect(got, `${pxCount} px, seed ${seed}`).toEqual(wanted);
    expect(Math.max(...got.kept), `seed ${seed}`).toBeGreaterThan(0);
  }
});
