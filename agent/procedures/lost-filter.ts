import type { Frame } from "../../drivers/roles/camera.ts";
import { StepError } from "./step-error.ts";

/** Light that is above this share of the converter's range counts as lit, whatever is in the picture. */
const litFraction = 0.2;
/** A gust of seeing or the rim of a cloud clips a few pixels; four times the light clips nearly all that are lit. */
const clippedOfLitMax = 0.5;

export const checkFilterSafely =
  "Check the Sun filter and the diffuser with the telescope pointed away from the Sun and covered; keep to the filter " +
  "maker's guidance and never look through the instrument to check.";

/**
 * Looks at a frame of the shortest exposure, or of a series whose exposure was tuned so that nothing clips. If most of the
 * lit pixels clip the light has become several times brighter, and nothing on the Sun does that: the filter counts as lost.
 * @throws StepError, unsafe
 */
export function checkFilterStillOn(frame: Frame, topAdu: number): void {
  const lit = topAdu * litFraction;
  let litCount = 0;
  let clippedCount = 0;
  const { pixelsAdu } = frame;
  for (let i = 0; i < pixelsAdu.length; i++) {
    const level = pixelsAdu[i]!;
    if (level >= topAdu) clippedCount++;
    if (level >= lit) litCount++;
  }
  if (clippedCount <= clippedOfLitMax * litCount) return;
  throw new StepError(
    "FAR_TOO_BRIGHT",
    `the light is far too bright: ${((100 * clippedCount) / litCount).toFixed(0)} % of the lit pixels clip ` +
      `at ${frame.exposureSeconds} s, an exposure at which none should; the Sun filter may be gone`,
    checkFilterSafely,
    "brightness",
  );
}
