import type { AnyActorLogic } from "xstate";
import type { Plan } from "../../../plans/plan-file.ts";
import type { PlanStep, StepKind, StepOptions } from "../../../plans/plan-steps.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import type { Findings } from "../../procedures/findings.ts";

/** A plan on a rig. */
export interface PlanScene {
  readonly plan: Plan;
  readonly rigFile: RigFile;
  /** From history before the run, and as it grows during it. */
  readonly findings: Findings;
}

/** What a step's ask and its planned time are made from. */
export interface StepScene extends PlanScene {
  readonly stepIndex: number;
  /** Why no new flat may be put in now, when there may be so many in all; `undefined` when one may. */
  readonly whyNoNewFlat?: (newFlatsMost: number) => string | undefined;
}

/** How a kind of step of the plan becomes work. */
export interface StepEntry<Kind extends StepKind = StepKind> {
  /** The procedure: takes `{ bench, ask }`, hears `StepEvent`, puts out a `StepOutcome`. */
  readonly logic: AnyActorLogic;
  ask(options: StepOptions<Kind>, scene: StepScene): unknown;
  /** For the check of the Sun's altitude over the whole planned time; on the long side. */
  secondsPlanned(options: StepOptions<Kind>, scene: StepScene): number;
}

export type StepTable = { readonly [Kind in StepKind]: StepEntry<Kind> };

export function entryOf(table: StepTable, step: PlanStep): StepEntry {
  return table[step.step] as unknown as StepEntry;
}

export function secondsPlanned(table: StepTable, scene: PlanScene): number {
  const { plan } = scene;
  if (plan.sun.plannedMinutes !== undefined) return plan.sun.plannedMinutes * 60;
  return plan.steps.reduce(
    (sum, step, stepIndex) => sum + entryOf(table, step).secondsPlanned(step, { ...scene, stepIndex }),
    0,
  );
}
