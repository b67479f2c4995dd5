import type { Checker } from "./checker.ts";

const overlaps = ["moveOverlapped", "slewOverlapped", "exposureOverlapped"];

/** A device got a command while it was still carrying out another one. */
export const overlappingCommands: Checker = (history) =>
  history
    .filter((m) => overlaps.includes(m.what))
    .map((m) => ({
      atMs: m.atMs,
      checker: "overlappingCommands",
      what: `${m.part} got a command while it was busy with another`,
    }));
