import type { RoleName } from "../../../drivers/roles/roles.ts";
import type { Moment } from "../../../sim-devices/scene/moment.ts";
import type { World } from "../../../sim-devices/scene/world.ts";

/** Something that must never happen to a rig, and when it did. */
export interface Finding {
  readonly atMs: number;
  readonly checker: string;
  readonly what: string;
  /** Which device it is about, where it is about one. */
  readonly role?: RoleName;
}

/** Reads what happened, in order; the last moment is how the rig stands at the end. */
export type Checker = (history: readonly Moment[], world: World) => Finding[];

/** A finding for each time that a condition begins to hold. */
export function whenBegins(
  history: readonly Moment[],
  checker: string,
  holds: (moment: Moment) => string | undefined,
): Finding[] {
  const findings: Finding[] = [];
  let held = false;
  for (const moment of history) {
    const what = holds(moment);
    if (what !== undefined && !held) findings.push({ atMs: moment.atMs, checker, what });
    held = what !== undefined;
  }
  return findings;
}
