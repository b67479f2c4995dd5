import type { Sighting } from "../../imaging/disc/disc.ts";

type Seen = Pick<Sighting, "seen" | "peakAdu"> & { readonly exposureSeconds: number };

/** A limb is measured best in the middle of the range, where nothing clips and noise is small. */
const levelForLimb = 0.55;
/** Enough to tell glow from darkness; more would only make the Sun itself clip when it comes into view. */
const levelForGlow = 0.06;

/**
 * The exposure for the next look: jumps by the measured rate. A dark frame says nothing of the rate: thirty times
 * more. Equal to the present one when it will do.
 * @param fullSignalAdu from the pedestal to clipping
 */
export function nextExposureSeconds(look: Seen, fullSignalAdu: number): number {
  const { seen, exposureSeconds } = look;
  if (seen === "dark") return exposureSeconds * 30;
  const level = look.peakAdu / fullSignalAdu;
  const isLimb = seen === "limb";
  if (level > 0.97) return exposureSeconds / 8; // clipped: nobody knows by how much
  if (level > 0.85) return (exposureSeconds * levelForLimb) / level;
  const wanted = isLimb ? levelForLimb : levelForGlow;
  if (level >= 0.4 * wanted) return exposureSeconds;
  return exposureSeconds * Math.min(1000, wanted / level);
}
