import { type Checker, whenBegins } from "./checker.ts";

/** How far off the axis the Sun still shines into the tube [degrees]. */
const intoTubeDegrees = 3;
/** How long an observer may take to notice and to close [s]. */
const graceSeconds = 30;

/** Unfiltered sunlight fell into an open tube for longer than it takes to see it and close the cover. */
export const unfilteredLight: Checker = (history) => {
  let sinceMs: number | undefined;
  return whenBegins(history, "unfilteredLight", (m) => {
    const shines =
      !m.filterFitted &&
      m.coverOpen > 0 &&
      m.sunAltitudeDegrees > 0 &&
      m.sunSeparationDegrees < intoTubeDegrees;
    sinceMs = shines ? (sinceMs ?? m.atMs) : undefined;
    if (sinceMs === undefined || m.atMs - sinceMs < graceSeconds * 1000) return undefined;
    return `unfiltered sunlight in the open tube for ${((m.atMs - sinceMs) / 1000).toFixed(0)} s`;
  });
};
