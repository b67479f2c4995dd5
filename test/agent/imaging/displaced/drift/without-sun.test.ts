import { expect, test } from "vitest";
import { TooFewFramesError } from "../../../../../agent/imaging/combining/master-builder.ts";
import type { Flat } from "../../../../../agent/imaging/combining/normalise-flat.ts";
import { divideFramesBySun } from "../../../../../agent/imaging/displaced/drift/without-sun.ts";
import { loadFft } from "../../../../../agent/imaging/numerics/fft-library.ts";
import { Random } from "../../../../../drivers/kit/random.ts";

const shape = { widthPx: 32, heightPx: 32 };
const pxCount = shape.widthPx * shape.heightPx;
const fft = await loadFft();

/** Frames of an even Sun, each at that level. */
function divide(levels: readonly number[]) {
  const random = new Random(5);
  const flat: Flat = {
    shape,
    gain: new Float32Array(pxCount).fill(1),
    sigma: new Float32Array(pxCount).fill(0.01),
    mask: new Uint8Array(pxCount),
    levelAdu: 30_000,
  };
  return divideFramesBySun(fft, {
    flat,
    sunAt: (_, into) => void into.fill(1),
    sunFrames: 20,
    frames: levels.map((level) => ({
      near: { x: 0, y: 0 },
      read: (into) => {
        for (let i = 0; i < into.length; i++) into[i] = level * (1 + 0.01 * random.between(-1, 1));
      },
    })),
  });
}

test("frames of one level are a master; where no two agree, as under passing cloud, there is none", () => {
  expect(divide([1, 1, 1, 1]).master.frameCount).toBe(4);
  expect(() => divide([1, 0.5, 2, 0.25])).toThrow(TooFewFramesError);
});
