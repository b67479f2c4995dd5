import * as z from "zod";
import { atLeastZero, fraction, positive } from "./spec-numbers.ts";

/** On the unit disc of the Sun: u towards solar west, v towards solar north, [solar radii]. */
const onDisc = z.strictObject({ u: z.number().min(-1).max(1), v: z.number().min(-1).max(1) });

const surfaceImage = z.strictObject({
  /** Grey PNG, solar north up, east left. */
  file: z.string().min(1),
  centreXPx: z.number(),
  centreYPx: z.number(),
  radiusPx: positive,
  /** Position angle of solar north in the image, [degrees] counter-clockwise from up. */
  poleDegrees: z.number(),
  /** Level over the disc's median, to this power: 1 keeps the image's contrast. */
  contrastPower: atLeastZero,
});

export const sun = z.strictObject({
  /**
   * Signal of one unbinned pixel at the centre of the quiet disc, cover open, no diffuser, slot of transmission 1,
   * above the atmosphere. Six decades are allowed for.
   */
  centreElectronsPerSecond: positive,
  /** Rms contrast of the fine (granular) and coarse (network) texture of the quiet surface. */
  granulation: z.strictObject({ rms: atLeastZero, scaleArcsec: positive }),
  network: z.strictObject({ rms: atLeastZero, scaleArcsec: positive }),
  spots: z.array(z.strictObject({ at: onDisc, radiusArcsec: positive, depth: fraction })),
  plages: z.array(z.strictObject({ at: onDisc, radiusArcsec: positive, excess: atLeastZero })),
  filaments: z.array(
    z.strictObject({ path: z.array(onDisc).min(2), widthArcsec: positive, depth: fraction }),
  ),
  /** How much of its own contrast the surface exchanges in an hour, spots and texture alike. Absent: none. */
  changePerHour: positive.max(1).optional(),
  /** A real image instead of texture, spots, plages and filaments. Limb darkening still applies. */
  image: surfaceImage.optional(),
});
