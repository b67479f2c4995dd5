import type { Site } from "../../../drivers/roles/mount.ts";
import { sunAbove } from "../../sky/sun-day.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import { entryOf, type PlanScene, type StepTable, secondsPlanned } from "./step-entry.ts";

/** From the first step that looks at the Sun to the end of the plan, as reckoned beforehand. */
export interface PlannedLooking {
  readonly fromUtcMs: number;
  readonly toUtcMs: number;
}

const lookEveryMs = 60_000;

export function plannedLooking(table: StepTable, scene: PlanScene, startUtcMs: number): PlannedLooking {
  let fromUtcMs = startUtcMs;
  let rest = secondsPlanned(table, scene);
  for (const [stepIndex, step] of scene.plan.steps.entries()) {
    if (step.step !== "wait") break;
    const until = step.untilSunAltitudeDegrees;
    const waited =
      until === undefined
        ? (step.minutes ?? 0) * 60
        : (waitedMs(scene.rigFile.site, until, fromUtcMs) ?? 0) / 1000;
    fromUtcMs += waited * 1000;
    if (scene.plan.sun.plannedMinutes === undefined)
      rest -= entryOf(table, step).secondsPlanned(step, { ...scene, stepIndex });
    else rest = Math.max(0, rest - waited);
  }
  return { fromUtcMs, toUtcMs: fromUtcMs + rest * 1000 };
}

/** How long until the Sun is that high on this day; `undefined` when it never is again. */
function waitedMs(site: Site, altitudeDegrees: number, utcMs: number): number | undefined {
  const window = sunAbove(utcMs, site, altitudeDegrees);
  if (!window || window.toUtcMs < utcMs) return undefined;
  return Math.max(0, window.fromUtcMs - utcMs);
}

/** The lowest that the Sun gets in that time [degrees], and when. */
export function lowestSun(
  site: Site,
  { fromUtcMs, toUtcMs }: PlannedLooking,
): { altitudeDegrees: number; utcMs: number } {
  let lowest = { altitudeDegrees: Number.POSITIVE_INFINITY, utcMs: fromUtcMs };
  for (let utcMs = fromUtcMs; ; utcMs = Math.min(utcMs + lookEveryMs, toUtcMs)) {
    const { altitudeDegrees } = sunFromSite(utcMs, site);
    if (altitudeDegrees < lowest.altitudeDegrees) lowest = { altitudeDegrees, utcMs };
    if (utcMs >= toUtcMs) return lowest;
  }
}
