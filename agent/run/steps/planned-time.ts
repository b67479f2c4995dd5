import type { Site } from "../../../drivers/roles/mount.ts";
import type { PlanStep } from "../../../plans/plan-steps.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import { type PlanScene, rowOf, type StepTable } from "./step-row.ts";

/** From the first step that looks at the Sun to the end of the plan, as reckoned beforehand. */
export interface PlannedObserving {
  readonly fromUtcMs: number;
  readonly toUtcMs: number;
}

const lookEveryMs = 60_000;

/** The plan's own word on how long it takes counts before the sum of its steps. */
export function plannedObserving(table: StepTable, scene: PlanScene, startUtcMs: number): PlannedObserving {
  const { steps, sun } = scene.plan;
  const firstLook = steps.findIndex((step) => rowOf(table, step).sun !== "none");
  const waits = firstLook < 0 ? steps : steps.slice(0, firstLook);
  const fromUtcMs = endOf(table, scene, { steps: waits, startUtcMs });
  const toUtcMs =
    sun.plannedMinutes === undefined
      ? endOf(table, scene, { steps, startUtcMs })
      : Math.max(fromUtcMs, startUtcMs + 60_000 * sun.plannedMinutes);
  return { fromUtcMs, toUtcMs };
}

/** When these steps are done, one after the other, on the long side. Their places are those in the scene's plan. */
export function endOf(
  table: StepTable,
  scene: PlanScene,
  { steps, startUtcMs }: { readonly steps: readonly PlanStep[]; readonly startUtcMs: number },
): number {
  return steps.reduce((utcMs, step) => {
    const stepIndex = scene.plan.steps.indexOf(step);
    return utcMs + 1000 * rowOf(table, step).secondsPlanned(step, { ...scene, stepIndex, utcMs });
  }, startUtcMs);
}

/** The lowest that the Sun gets in that time [degrees], and when. */
export function lowestSun(
  site: Site,
  { fromUtcMs, toUtcMs }: PlannedObserving,
): { altitudeDegrees: number; utcMs: number } {
  let lowest = { altitudeDegrees: Number.POSITIVE_INFINITY, utcMs: fromUtcMs };
  for (let utcMs = fromUtcMs; ; utcMs = Math.min(utcMs + lookEveryMs, toUtcMs)) {
    const { altitudeDegrees } = sunFromSite(utcMs, site);
    if (altitudeDegrees < lowest.altitudeDegrees) lowest = { altitudeDegrees, utcMs };
    if (utcMs >= toUtcMs) return lowest;
  }
}

/** When the Sun passes the meridian in that time; a German mount changes sides then. */
export function meridianPassage(site: Site, { fromUtcMs, toUtcMs }: PlannedObserving): number | undefined {
  const hourAngleHours = (utcMs: number) => sunFromSite(utcMs, site).hourAngleHours;
  for (let utcMs = fromUtcMs; utcMs < toUtcMs; utcMs += lookEveryMs) {
    const [before, after] = [hourAngleHours(utcMs), hourAngleHours(utcMs + lookEveryMs)];
    if (before < 0 && after >= 0 && after < 6) return utcMs + lookEveryMs * (before / (before - after));
  }
  return undefined;
}
