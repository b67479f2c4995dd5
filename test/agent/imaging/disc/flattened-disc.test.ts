import { expect, test } from "vitest";
import { findDisc } from "../../../../agent/imaging/disc/disc.ts";
import { brightnessAtRadius, limbDarkening } from "../../../../agent/imaging/disc/limb-darkening.ts";
import { Random } from "../../../../drivers/kit/random.ts";

/** A limb-darkened ellipse, its short axis `degrees` from x towards y, with noise. */
function flattenedDisc(options: { flattening: number; degrees: number; seed: number }): Uint16Array {
  const { flattening, degrees, seed } = options;
  const random = new Random(seed);
  const darkening = limbDarkening(656.28);
  const [cos, sin] = [Math.cos((degrees * Math.PI) / 180), Math.sin((degrees * Math.PI) / 180)];
  return Uint16Array.from({ length: 400 * 300 }, (_, i) => {
    const x = (i % 400) - 210.3;
    const y = Math.floor(i / 400) - 141.8;
    const short = (x * cos + y * sin) / (1 - flattening);
    const long = -x * sin + y * cos;
    const inside = brightnessAtRadius(darkening, Math.hypot(short, long) / 120);
    return Math.max(0, Math.round(800 + 30_000 * inside * (1 + 0.02 * random.gauss()) + 30 * random.gauss()));
  });
}

test("a Sun squeezed by refraction, 5 and 10 degrees up: the centre is the ellipse's", () => {
  for (const [flattening, degrees, seed] of [
    [0.024, 30, 1],
    [0.024, 110, 2],
    [0.008, 75, 3],
  ] as const) {
    const random = new Random(seed);
    const sighting = findDisc(
      flattenedDisc({ flattening, degrees, seed }),
      { widthPx: 400, heightPx: 300 },
      {
        pedestalAdu: 800,
        darkBelowAdu: 100,
        radius: { radiusPx: 120, toleranceFraction: 0.06 },
        flattening,
        uniform: () => random.uniform(),
      },
    );
    if (sighting.seen !== "limb") throw new Error(`no limb at ${flattening}: ${sighting.seen}`);
    const offPx = Math.hypot(sighting.disc.xPx - 210.3, sighting.disc.yPx - 141.8);
    expect(offPx, `flattening ${flattening}`).toBeLessThan(0.24); // a thousandth of the diameter
  }
});
