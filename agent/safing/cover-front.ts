import { makeSafe } from "./make-safe.ts";
import type { SafingTools } from "./safing-tools.ts";
import { UnsafeError } from "./unsafe-error.ts";

/**
 * Covers the telescope and proves it. Where that fails the mount is turned off the Sun before this throws. Does nothing on
 * a rig without a cover.
 * @throws UnsafeError
 */
export async function coverFront(tools: SafingTools, signal: AbortSignal): Promise<void> {
  if (!tools.rig.cover) return;
  const { covered } = await makeSafe(tools, { goal: "covered", signal });
  if (covered.proved) return;
  throw new UnsafeError(
    "NOT_COVERED",
    `the telescope could not be covered: ${covered.why}`,
    "Keep everybody away from the eyepiece and the finder, close the cover by hand, then run `evenfield restore`.",
  );
}
