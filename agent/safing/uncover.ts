import { withDeadline } from "../../drivers/kit/deadline.ts";
import { DeviceLostError } from "../../drivers/kit/errors.ts";
import type { Cover } from "../../drivers/roles/cover.ts";
import { coverSecondsMax, makeSafe } from "./make-safe.ts";
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
  await openInTime(tools, cover, signal);
  front.travelSeconds = Math.max(front.travelSeconds ?? 0, clock.monotonicSeconds() - startedSeconds);
}

/** A leaf that sticks half way leaves the telescope open: it is made safe before anybody hears of it. */
async function openInTime(tools: UncoverTools, cover: Cover, signal: AbortSignal): Promise<void> {
  const { clock } = tools;
  try {
    const withinSeconds = coverSecondsMax(tools);
    const limits = { device: cover.name, what: "opening", withinSeconds, signal };
    await withDeadline(clock, limits, (limited) => cover.ensureOpen(limited));
  } catch (error) {
    // A lost link says nothing of the cover; else what it says next is the word of one that did not obey.
    if (!(error instanceof DeviceLostError))
      tools.front.disobeyed =
        "it did not open when it was told to, and no dark frame has shown it closed since";
    signal.throwIfAborted(); // who aborts makes safe
    const { covered } = await makeSafe(tools, { goal: "covered and off the Sun", signal });
    if (covered.proved) throw error;
    const why = error instanceof Error ? error.message : String(error);
    throw new UnsafeError(
      "NOT_COVERED",
      `the cover did not open (${why}), and is not closed again: ${covered.why}`,
      "Keep everybody away from the eyepiece and the finder, free the cover and close it by hand, then run `evenfield restore`.",
    );
  }
}

async function placeReasons(tools: UncoverTools, signal: AbortSignal): Promise<readonly string[]> {
  const { rig, site, clock, uncoverWithinDegrees } = tools;
  if (!rig.mount || uncoverWithinDegrees === undefined || !isSunUp(site, clock.nowMs())) return [];
  const { pointing } = await rig.mount.state(signal);
  const off = sunSeparationDegrees(pointing, site, clock.nowMs());
  if (off <= uncoverWithinDegrees) return [];
  return [`the mount points ${off.toFixed(1)}° from the Sun, more than ${uncoverWithinDegrees}°`];
}
