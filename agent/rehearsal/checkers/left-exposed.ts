import { coverLieShownMs, isExposed } from "./exposed-too-long.ts";
import type { Happened, Violation } from "./happened.ts";

/**
 * When all is over nobody is there any more: the telescope does not stay open to the Sun, unless that is how it was found.
 * @param isAsFound whether the rig was found open to the Sun, and stands so again with nothing against it
 */
export function leftExposed(happened: Happened, isAsFound: boolean): Violation[] {
  const { moments, rig } = happened;
  const last = moments.at(-1);
  // A cover that opened while it went on saying that it is closed, and of which no frame was taken.
  if (last?.coverReported === 0 && coverLieShownMs(happened) === undefined) return [];
  const hasMoved = moments.some(({ part }) => part === "cover" || part === "mount");
  if (!last || !hasMoved || isAsFound || !isExposed(last)) return [];
  if (!rig.driven.includes("cover") && !rig.driven.includes("mount")) return [];
  const { coverOpen, sunSeparationDegrees } = last;
  return [
    {
      atMs: last.atMs,
      class: "left open to the Sun",
      what: `cover ${coverOpen.toFixed(2)} open, ${sunSeparationDegrees.toFixed(1)}° from the Sun at the end`,
    },
  ];
}
