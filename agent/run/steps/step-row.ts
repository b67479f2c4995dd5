import type { RoleName } from "../../../drivers/roles/roles.ts";
import type { Plan } from "../../../plans/plan-file.ts";
import type { PlanStep, StepKind, StepOptions } from "../../../plans/plan-steps.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import type { StepFindings } from "../../procedures/findings.ts";
import type { Step } from "../../procedures/run-step.ts";

/** A plan on a rig. */
export interface PlanScene {
  readonly plan: Plan;
  readonly rigFile: RigFile;
  /** From history before the run, and as it grows during it. */
  readonly findings: StepFindings;
}

/** The limit of the Sun's altitude that holds [degrees]: the higher of the plan's and the rig's. */
export function sunAltitudeLimit({ plan, rigFile }: Pick<PlanScene, "plan" | "rigFile">): number {
  return Math.max(plan.sun.altitudeDegreesMin, rigFile.limits.sunAltitudeDegreesMin);
}

/** What a step's request and its planned time are made from. */
export interface StepScene extends PlanScene {
  readonly stepIndex: number;
  /** When it begins. */
  readonly utcMs: number;
  /** Why no new flat may be put in now, when there may be so many in all; `undefined` when one may. */
  readonly whyNoNewFlat?: (newFlatsMost: number) => string | undefined;
}

/** Everything that the run knows of a kind of step. */
export interface StepRow<Kind extends StepKind = StepKind, Found = unknown> {
  /** The procedure. Takes what `request` gives. */
  readonly step: Step<never, Found>;
  /** What the Sun is to it: nothing (it may be down, and the dome closed), what it searches for, or what it looks at. */
  readonly sun: "none" | "searched" | "looked at";
  /** The roles that it cannot do without, beside the camera. */
  needs(options: StepOptions<Kind>): readonly RoleName[];
  request(options: StepOptions<Kind>, scene: StepScene): unknown;
  /** For the check of the Sun's altitude over the whole planned time; on the long side. */
  secondsPlanned(options: StepOptions<Kind>, scene: StepScene): number;
}

export type StepTable = { readonly [Kind in StepKind]: StepRow<Kind> };

export function rowOf(table: StepTable, step: PlanStep): StepRow {
  return table[step.step] as unknown as StepRow;
}

/** A row whose request is the one that its step takes. */
export function stepRow<Kind extends StepKind, Request, Found>(
  row: Omit<StepRow<Kind>, "step" | "request"> & {
    readonly step: Step<Request, Found>;
    request(options: StepOptions<Kind>, scene: StepScene): Request;
  },
): StepRow<Kind, Found> {
  return row;
}
