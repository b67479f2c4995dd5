import { expect, test } from "vitest";
import { measureLight } from "../../../../agent/imaging/light/measure-light.ts";
import { loadFft } from "../../../../agent/imaging/numerics/fft-library.ts";
import { type LightSceneOptions, lightScene } from "./light-scene.ts";

const fft = await loadFft();
const seed = 20261204;

function ghostsOf(options: Omit<LightSceneOptions, "seed">) {
  const light = measureLight(fft, lightScene({ seed, ...options }).input);
  if ("notMeasured" in light) throw new Error(light.notMeasured);
  return light.ghosts;
}

/** A patch of light beside the middle that moves by `motion` when the Sun moves by one. */
const patch =
  (size: number, motion: number): NonNullable<LightSceneOptions["ghost"]> =>
  (shift, x, y) =>
    size * Math.exp(-((x - 110 - motion * shift.x) ** 2 + (y - 60 - motion * shift.y) ** 2) / (2 * 18 ** 2));

test("a reflection that moves against the Sun is seen, and how it moves; one that stands still is not told to move", () => {
  const mirrored = ghostsOf({ ghost: patch(0.03, -1) });
  const standing = ghostsOf({ ghost: patch(0.03, 0) });
  expect(mirrored.moves, JSON.stringify(mirrored)).toBeLessThan(0);
  expect([undefined, 0], JSON.stringify(standing)).toContain(standing.moves);
});

test("without a reflection none is told", () => {
  const none = ghostsOf({});
  expect(none.moves, `seed ${seed}: ${JSON.stringify(none)}`).toBeUndefined();
});

test("beside a whole disc the sky shows a reflection's size", () => {
  const disc = { shape: { widthPx: 240, heightPx: 180 }, radiusHeights: 0.42 } as const;
  const far: NonNullable<LightSceneOptions["ghost"]> = (_, x, y) => (x < 30 && y < 60 ? 0.02 : 0);
  expect(ghostsOf({ ...disc, ghost: far }).sky, `seed ${seed}`).toBeGreaterThan(0.015);
  expect(ghostsOf(disc).sky, `seed ${seed}`).toBeLessThan(0.005);
});
