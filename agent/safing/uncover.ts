import { isSunUp, sunSeparationDegrees } from "./off-sun.ts";
import { proveCovered } from "./prove-covered.ts";
import type { SafingTools } from "./safing-tools.ts";
import { UnsafeError } from "./unsafe-error.ts";

export interface UncoverTools extends SafingTools {
  /**
   * Every reason why the telescope must stay covered now that does not lie in where it points: statement of the Sun filter,
   * last retreat, altitude, weather, dome, guard, keeper, link, clock. Asked anew each time.
   */
  readonly whyKeepCovered: (signal: AbortSignal) => Promise<readonly string[]>;
  /** How far off the Sun the telescope may point when it is uncovered; left out, anywhere [degrees]. */
  readonly uncoverWithinDegrees?: number;
}

/**
 * The one way to uncover the telescope, with every condition in one place. A front without a cover, or one that is open
 * already, is looked at all the same.
 * @throws UnsafeError, and the front is as it was
 */
export async function uncover(tools: UncoverTools, signal: AbortSignal): Promise<void> {
  const { front, rig, clock } = tools;
  const { cover } = rig;
  const reasons = [...(await tools.whyKeepCovered(signal)), ...(await placeReasons(tools, signal))];
  const state = await cover?.state(signal);
  const wasOpen = state === "open" && !front.expectedClosed;
  if (state === "open" && front.expectedClosed)
    front.covered = { proved: false, why: "the cover reads open, and nobody here opened it" };
  else if (cover && !wasOpen && !front.covered.proved) front.covered = await proveCovered(tools, signal);
  // A front that reads closed and shows light is a fault to find, not one to go on with.
  if (cover && !wasOpen && !front.covered.proved) reasons.push(front.covered.why);
  if (reasons.length > 0)
    throw new UnsafeError(
      "KEEP_COVERED",
      `the telescope is not uncovered: ${reasons.join("; ")}`,
      "See to what is named, then start again.",
    );
  if (!cover || wasOpen) return;
  front.expectedClosed = false;
  front.covered = { proved: false, why: "it was uncovered" };
  const startedSeconds = clock.monotonicSeconds();
  await cover.ensureOpen(signal);
  front.travelSeconds = Math.max(front.travelSeconds ?? 0, clock.monotonicSeconds() - startedSeconds);
}

async function placeReasons(tools: UncoverTools, signal: AbortSignal): Promise<readonly string[]> {
  const { rig, site, clock, uncoverWithinDegrees } = tools;
  if (!rig.mount || uncoverWithinDegrees === undefined || !isSunUp(site, clock.nowMs())) return [];
  const { pointing } = await rig.mount.state(signal);
  const off = sunSeparationDegrees(pointing, site, clock.nowMs());
  if (off <= uncoverWithinDegrees) return [];
  return [`the mount points ${off.toFixed(1)}° from the Sun, more than ${uncoverWithinDegrees}°`];
}
