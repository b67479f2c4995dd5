import type { Checker } from "./checker.ts";

/** The mount was sent past a limit, or ran into one. */
export const pastLimit: Checker = (history) =>
  history
    .filter((m) => m.what === "limitRefused" || m.what === "limitReached")
    .map((m) => ({
      atMs: m.atMs,
      checker: "pastLimit",
      what: `${m.part}: ${m.what}, ${m.detail ?? ""}`,
      role: "mount",
    }));
