import { given } from "../../../drivers/kit/given.ts";
import { roleNames } from "../../../drivers/roles/roles.ts";
import type { Checker } from "./checker.ts";

const overlaps = ["moveOverlapped", "slewOverlapped", "exposureOverlapped"];

/** A device got another command while it was still carrying out one; a cover may be told to close at any time. */
export const overlappingCommands: Checker = (history) =>
  history
    .filter((m) => overlaps.includes(m.what) && !(m.part === "cover" && m.detail === "to 0"))
    .map((m) => ({
      atMs: m.atMs,
      checker: "overlappingCommands",
      what: `${m.part} got a command while it was busy with another`,
      ...given({ role: roleNames.find((role) => role === m.part) }),
    }));
