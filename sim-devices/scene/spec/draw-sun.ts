import type { Random } from "../../../drivers/kit/random.ts";
import type { SceneSpec } from "./scene-spec.ts";

/** Texture, spots, bright regions and dark filaments of a quiet to busy day. */
export function drawSun(random: Random): SceneSpec["sun"] {
  const place = (furthest: number) => {
    const r = furthest * Math.sqrt(random.uniform());
    const direction = random.between(0, 2 * Math.PI);
    return { u: r * Math.cos(direction), v: r * Math.sin(direction) };
  };
  const some = <T>(low: number, high: number, make: () => T) =>
    Array.from({ length: random.whole(low, high) }, make);
  return {
    centreElectronsPerSecond: 10 ** random.between(6.1, 6.9),
    granulation: { rms: random.between(0.01, 0.05), scaleArcsec: random.between(3, 9) },
    network: { rms: random.between(0.01, 0.05), scaleArcsec: random.between(18, 35) },
    spots: some(0, 5, () => ({
      at: place(0.9),
      radiusArcsec: random.between(6, 30),
      depth: random.between(0.4, 0.8),
    })),
    plages: some(0, 5, () => ({
      at: place(0.85),
      radiusArcsec: random.between(30, 110),
      excess: random.between(0.1, 0.4),
    })),
    filaments: some(0, 4, () => {
      const start = place(0.7);
      const direction = random.between(0, 2 * Math.PI);
      const path = [0, 1, 2, 3].map((k) => ({
        u: start.u + 0.06 * k * Math.cos(direction + 0.25 * k) + random.between(-0.01, 0.01),
        v: start.v + 0.06 * k * Math.sin(direction + 0.25 * k) + random.between(-0.01, 0.01),
      }));
      return { path, widthArcsec: random.between(8, 20), depth: random.between(0.15, 0.35) };
    }),
  };
}
