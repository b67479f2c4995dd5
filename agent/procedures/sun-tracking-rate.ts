import type { Mount, TrackRate } from "../../drivers/roles/mount.ts";

/**
 * The rate at which a mount follows the Sun. Where it has no solar one, that of the stars, against which the Sun goes 0.04
 * arcsec a second (its mean motion); `catchUpWithSun` does the rest.
 */
export function sunTrackingRate({ abilities }: Pick<Mount, "abilities">): TrackRate {
  return abilities.solarRate ? "solar" : "sidereal";
}
