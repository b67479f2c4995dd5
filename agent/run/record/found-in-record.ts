import type { StepKind } from "../../../plans/plan-steps.ts";
import type { FoundOf } from "../steps/step-table.ts";
import type { StepRecord } from "./run-record.ts";

/** What a step of that kind found; `undefined` when it is of another kind or found nothing. */
export function foundBy<Kind extends StepKind>(step: StepRecord, kind: Kind): FoundOf<Kind> | undefined {
  return step.kind === kind ? (step.found as FoundOf<Kind> | undefined) : undefined; // the step table pairs them
}

/** What the last step of that kind that found anything found. */
export function lastStepResult<Kind extends StepKind>(
  { steps }: { readonly steps: readonly StepRecord[] },
  kind: Kind,
): FoundOf<Kind> | undefined {
  const step = steps.findLast((one) => foundBy(one, kind) !== undefined);
  return step && foundBy(step, kind);
}
