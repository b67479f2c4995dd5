import type { FftLibrary } from "../numerics/fft-library.ts";
import { matchTrain, type TrainMatch } from "./match-train.ts";
import { hasWandered, removeSun } from "./remove-sun.ts";
import type { KnownShadow } from "./shadow-moves.ts";
import type { SmallStructure } from "./small-structure.ts";

/** Fewer can't be halved, and of a few images much of the Sun stays. */
const togetherLeast = 4;

/**
 * Whether images of one train, taken together, were taken with the train of a flat: the Sun wanders, the train does not.
 * Few images, or a Sun that stood still, tell what the first of them tells alone.
 * @param images of the flat's shape; one or more
 */
export function matchImages(
  library: FftLibrary,
  flat: SmallStructure,
  images: readonly SmallStructure[],
  shadows: readonly KnownShadow[],
): TrainMatch {
  const alone = () => matchTrain(library, flat, images[0]!, shadows, "image");
  if (images.length < togetherLeast) return alone();
  const { structure, halves, sunLeft, sunShifts } = removeSun(library, flat, images);
  if (halves.length === 0 || !hasWandered(sunShifts)) return alone();
  return matchTrain(library, flat, structure, shadows, "images less the Sun", { views: halves, sunLeft });
}
