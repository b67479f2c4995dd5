import { type AgendaEntry, flatStepsBefore } from "./agenda.ts";
import { endOf, lowestSun } from "./planned-time.ts";
import { type PlanScene, type StepTable, sunAltitudeLimit } from "./step-row.ts";

export interface NewFlatQuestion {
  readonly table: StepTable;
  readonly scene: PlanScene;
  readonly agenda: readonly AgendaEntry[];
  /** The step that asks. */
  readonly stepIndex: number;
  readonly newFlatsMost: number;
  readonly startedUtcMs: number;
  readonly nowUtcMs: number;
}

/**
 * Why no new flat may be put in now: as many as allowed were, the Sun will be too low, or the planned time is over before
 * the flat and everything after it are done. `undefined` when one may.
 */
export function newFlatRefusal(question: NewFlatQuestion): string | undefined {
  const { scene, agenda, newFlatsMost, startedUtcMs, nowUtcMs } = question;
  const taken = countNewFlats(agenda);
  if (taken >= newFlatsMost)
    return `${taken} new ${taken === 1 ? "flat was" : "flats were"} taken in this run, as many as the plan allows`;
  const toUtcMs = endOfPlan(question);
  const minutes = Math.ceil((toUtcMs - nowUtcMs) / 60_000);
  const limit = sunAltitudeLimit(scene);
  const { altitudeDegrees } = lowestSun(scene.rigFile.site, { fromUtcMs: nowUtcMs, toUtcMs });
  if (altitudeDegrees < limit)
    return `the Sun will be ${altitudeDegrees.toFixed(1)}° high, below the limit of ${limit}°, within the ${minutes} minutes that a new flat and the rest of the plan take`;
  const { plannedMinutes } = scene.plan.sun;
  if (plannedMinutes !== undefined && toUtcMs > startedUtcMs + plannedMinutes * 60_000)
    return `a new flat and the rest of the plan take ${minutes} minutes, more than is left of the ${plannedMinutes} that are planned`;
  return undefined;
}

/** How many flats were put in. */
export function countNewFlats(agenda: readonly AgendaEntry[]): number {
  return agenda.filter(({ step, because }) => step.step === "flat" && because !== undefined).length;
}

/** After leak check and flat, the asking step as if from its start, and what comes after it. On the long side. */
function endOfPlan({ table, scene, agenda, stepIndex, nowUtcMs }: NewFlatQuestion): number {
  const { flat, leakCheck } = flatStepsBefore(agenda, stepIndex);
  const planned = agenda.map(({ step }) => step);
  const steps = [leakCheck, flat, ...planned.slice(stepIndex)].filter((step) => step !== undefined);
  return endOf(table, { ...scene, plan: { ...scene.plan, steps: planned } }, { steps, startUtcMs: nowUtcMs });
}
