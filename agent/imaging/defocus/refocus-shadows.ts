import type { Flat } from "../combining/normalise-flat.ts";
import type { DustFound } from "../dust/dust.ts";

export interface ShadowPlace {
  readonly xPx: number;
  readonly yPx: number;
  /** Between the points of half depth. */
  readonly diameterPx: number;
  /** Light lost in it, a share of the level. */
  readonly depth: number;
  /** A bright middle, of a size that is not known. */
  readonly ring: boolean;
}

/** Diameter of a ring's bright middle over its own, where nothing is known: a central obstruction of usual size. */
const holeUsual = 0.33;
/** So much of what is changed may be wrong: of a disc its rim's form, of a ring its middle too. */
const changeUnsure = { disc: 0.3, ring: 0.7 };

/**
 * A flat taken out of focus as it is in focus. The cone of light to a pixel ends at the aperture: with the sensor
 * farther from it the cone is slimmer, and the shadow of a speck near the sensor smaller in the same proportion, and
 * deeper: the speck takes the same light in any case. Its rim is as wide as the speck, which is the cone's diameter
 * times the root of the depth.
 * @param stretch way from the aperture to the sensor when the flat was taken, over that in focus
 */
export function refocusShadows(flat: Flat, shadows: readonly ShadowPlace[], stretch: number): Flat {
  if (stretch === 1 || shadows.length === 0) return flat;
  const { widthPx, heightPx } = flat.shape;
  const gain = flat.gain.slice();
  const sigma = flat.sigma.slice();
  for (const shadow of shadows) {
    const { xPx, yPx, diameterPx, depth, ring } = shadow;
    const [taken, focused] = [
      logShadow(diameterPx, depth, diameterPx * Math.sqrt(depth)),
      logShadow(diameterPx * stretch, depth / stretch ** 2, diameterPx * Math.sqrt(depth)),
    ];
    const reach = diameterPx;
    for (let y = Math.max(0, Math.ceil(yPx - reach)); y <= Math.min(heightPx - 1, yPx + reach); y++)
      for (let x = Math.max(0, Math.ceil(xPx - reach)); x <= Math.min(widthPx - 1, xPx + reach); x++) {
        const i = y * widthPx + x;
        const away = Math.hypot(x - xPx, y - yPx);
        const change = focused(away) - taken(away);
        if (change === 0 || (ring && away < (holeUsual * diameterPx) / 2)) continue;
        gain[i]! *= Math.exp(change);
        sigma[i] = Math.hypot(
          sigma[i]! * Math.exp(change),
          (ring ? changeUnsure.ring : changeUnsure.disc) * gain[i]! * change,
        );
      }
  }
  return { ...flat, gain, sigma };
}

/** Dust as it is in focus, of a flat taken out of focus: see `refocusShadows`. */
export function refocusDust(dust: readonly DustFound[], stretch: number): DustFound[] {
  return dust.map((found) => ({
    ...found,
    diameterPx: found.diameterPx * stretch,
    diameterSigmaPx: found.diameterSigmaPx * stretch,
    depth: found.depth / stretch ** 2,
    depthSigma: found.depthSigma / stretch ** 2,
    ...(found.distanceMm === undefined ? {} : { distanceMm: found.distanceMm * stretch }),
  }));
}

/** Logarithm of a shadow's transmission by distance from its centre; the rim is a smooth step (cubic). */
export function logShadow(diameterPx: number, depth: number, rimPx: number): (awayPx: number) => number {
  return (awayPx) => {
    const t = Math.min(1, Math.max(0, (diameterPx / 2 - awayPx) / Math.max(1, rimPx) + 0.5));
    return Math.log(1 - depth * t * t * (3 - 2 * t));
  };
}
