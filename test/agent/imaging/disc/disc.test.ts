import { describe, expect, test } from "vitest";
import { findDisc, type Sighting } from "../../../../agent/imaging/disc/disc.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { sunOnFrame } from "./sun-on-frame.ts";

type Painted = ReturnType<typeof sunOnFrame>;

function look(painted: Painted, radiusErrorFraction = 0): Sighting {
  const random = new Random(3);
  return findDisc(painted.pixelsAdu, painted.shape, {
    pedestalAdu: painted.pedestalAdu,
    darkBelowAdu: 60,
    uniform: () => random.uniform(),
    radius: { radiusPx: painted.radiusPx * (1 + radiusErrorFraction), toleranceFraction: 0.06 },
  });
}

function centreErrorPx(painted: Painted, sighting: Sighting): number {
  if (sighting.seen !== "limb") throw new Error(`no limb: ${sighting.seen}`);
  return Math.hypot(sighting.disc.xPx - painted.centre.xPx, sighting.disc.yPx - painted.centre.yPx);
}

describe("the limb on frames with vignetting, dust, hot pixels, spots and noise", () => {
  test.each([
    ["a small disc, off the middle", 0.33, { x: 0.9, y: -0.5 }, 0.1],
    ["a disc of three quarters of the height", 0.75, { x: 0.1, y: 0.1 }, 0.1],
    ["half the disc beyond the right edge", 0.75, { x: 1.3, y: 0.2 }, 0.4],
    ["a disc that touches the upper edge", 0.6, { x: 0, y: -0.68 }, 0.2],
    ["the disc's tip in a corner", 0.8, { x: 1.7, y: 1.3 }, 1],
    ["a disc larger than the frame, one limb in view", 2.2, { x: 0.8, y: 0 }, 1.5],
    ["three times the frame's height, a short arc", 3, { x: 0.9, y: -0.3 }, 3],
  ])("%s", (_, discPerHeight, offsetRadii, withinPx) => {
    for (const seed of [11, 12, 13]) {
      const painted = sunOnFrame({ seed, discPerHeight, offsetRadii });
      expect(
        centreErrorPx(painted, look(painted, seed % 2 === 0 ? 0.02 : -0.02)),
        `seed ${seed}`,
      ).toBeLessThan(withinPx);
    }
  });

  test("the stated uncertainty covers the error of whole discs three times in three", () => {
    for (let seed = 21; seed < 29; seed++) {
      const painted = sunOnFrame({ seed, discPerHeight: 0.7, offsetRadii: { x: 0.1, y: -0.2 } });
      const sighting = look(painted);
      if (sighting.seen !== "limb") throw new Error(`no limb, seed ${seed}`);
      const sdPx = Math.hypot(sighting.disc.sdXPx, sighting.disc.sdYPx);
      expect(centreErrorPx(painted, sighting), `seed ${seed}`).toBeLessThan(4 * sdPx);
      expect(sdPx).toBeLessThan(0.1);
    }
  });

  test("a faint disc at 1 % of full scale and one that clips five times over", () => {
    for (const level of [0.01, 5]) {
      const painted = sunOnFrame({ seed: 31, discPerHeight: 0.7, offsetRadii: { x: 0.4, y: 0.3 }, level });
      expect(centreErrorPx(painted, look(painted)), `level ${level}`).toBeLessThan(0.6);
    }
  });

  test("all sky is dark, all disc is filled, a closed cover is dark", () => {
    const sky = sunOnFrame({ seed: 41, discPerHeight: 0.7, offsetRadii: { x: 6, y: 0 } });
    expect(look(sky).seen).toBe("dark");
    const inside = sunOnFrame({ seed: 42, discPerHeight: 3, offsetRadii: { x: 0.1, y: 0.05 } });
    expect(look(inside).seen).toBe("filled");
    const covered = sunOnFrame({
      seed: 43,
      discPerHeight: 0.7,
      offsetRadii: { x: 0, y: 0 },
      coverOpenFraction: 0,
    });
    expect(look(covered).seen).toBe("dark");
  });

  test("a disc of quite another size than foretold is not taken for the Sun", () => {
    const painted = sunOnFrame({ seed: 51, discPerHeight: 0.6, offsetRadii: { x: 0, y: 0 } });
    expect(look(painted, 0.4).seen).not.toBe("limb");
  });

  test("an array that does not fit its shape is refused", () => {
    const painted = sunOnFrame({ seed: 61, discPerHeight: 0.6, offsetRadii: { x: 0, y: 0 } });
    expect(() => look({ ...painted, shape: { widthPx: 100, heightPx: 100 } })).toThrow(RangeError);
  });
});
