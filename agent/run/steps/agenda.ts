import type { PlanStep } from "../../../plans/plan-steps.ts";
import type { NewFlatRequest } from "../../procedures/step.ts";

/** A step of the run: the plan's own, or one that was put in. */
export interface AgendaEntry {
  readonly step: PlanStep;
  /** Why it was put in. */
  readonly because?: string;
  /** What the step that broke off wants handed back. */
  readonly resumeWith?: unknown;
}

/** The steps of a run in order: at first the plan's, later with what was put in between them. */
export class StepList {
  readonly #entries: AgendaEntry[];

  constructor(steps: readonly PlanStep[]) {
    this.#entries = steps.map((step) => ({ step }));
  }

  get entries(): readonly AgendaEntry[] {
    return this.#entries;
  }

  at(stepIndex: number): AgendaEntry {
    const entry = this.#entries[stepIndex];
    if (!entry) throw new Error(`the run has no step ${stepIndex + 1}`);
    return entry;
  }

  /** @returns the kinds of the steps that now come after it */
  insertNewFlat(stepIndex: number, asked: NewFlatRequest): readonly PlanStep["step"][] {
    const putIn = newFlatSteps(this.#entries, stepIndex, asked);
    this.#entries.splice(stepIndex + 1, 0, ...putIn);
    return putIn.map(({ step }) => step.step);
  }
}

/**
 * What comes after a step that asked for a new flat: the plan's own leak check and flat once more, as they stand before
 * that step, and then the rest of it.
 */
export function newFlatSteps(
  agenda: readonly AgendaEntry[],
  stepIndex: number,
  { because, rest }: NewFlatRequest,
): AgendaEntry[] {
  const { flat, leakCheck } = flatStepsBefore(agenda, stepIndex);
  if (!flat) throw new Error("a new flat was asked for, and the plan has no flat step");
  return [
    ...(leakCheck ? [{ step: leakCheck, because }] : []),
    { step: { ...flat, onlyWhenNoneFits: false }, because },
    { step: agenda[stepIndex]!.step, because: "after the new flat", resumeWith: rest },
  ];
}

/** The flat step that serves a step, and what has to come before it. */
export function flatStepsBefore(
  agenda: readonly AgendaEntry[],
  stepIndex: number,
): {
  readonly flat: (PlanStep & { step: "flat" }) | undefined;
  readonly leakCheck: (PlanStep & { step: "leak-check" }) | undefined;
} {
  const steps = agenda.map(({ step }) => step);
  const before = steps.slice(0, stepIndex).findLast((step) => step.step === "flat");
  const flat = before ?? steps.find((step) => step.step === "flat");
  const until = flat ? steps.indexOf(flat) : 0;
  const leakCheck =
    flat?.blur === "diffuser"
      ? steps.slice(0, until).findLast((step) => step.step === "leak-check")
      : undefined;
  return { flat, leakCheck };
}
