import type { StepOutcome } from "../../procedures/step.ts";
import type { RunHands } from "./run-hands.ts";

/** What the run machine knows; everything else is with `hands`. */
export interface RunContext {
  readonly hands: RunHands;
  readonly stepIndex: number;
  readonly stopAsked: boolean;
  /** It is not safe to look any more: the guard or a step said so. */
  readonly unsafe: boolean;
  /** The dome, if there is one, is open towards the Sun. */
  readonly openedUp: boolean;
  /** The run must end without any (further) step; why is with `hands`. */
  readonly over: boolean;
  /** Aborted by a stop in states that have nothing to put back, or that end quickly. */
  readonly patience: AbortController;
}

export function startRun(hands: RunHands): RunContext {
  return {
    hands,
    stepIndex: 0,
    stopAsked: false,
    unsafe: false,
    openedUp: false,
    over: false,
    patience: new AbortController(),
  };
}

/** What a step's end means for the rest of the run. */
export function afterStep(
  { hands, stepIndex }: RunContext,
  outcome: StepOutcome<unknown>,
): Partial<Pick<RunContext, "unsafe" | "over">> {
  if (outcome.ended === "unsafe") return { unsafe: true };
  if (outcome.ended === "failed" && hands.onFailure(stepIndex) === "stop") return { over: true };
  return {};
}

/** What a step put out, or what it threw as the failure that it then is. */
export function outcomeIn(event: unknown): StepOutcome<unknown> {
  const { output, error } = event as { output?: StepOutcome<unknown>; error?: unknown };
  if (output !== undefined) return output;
  if (error instanceof Error) return { ended: "failed", failure: error };
  const failure = new Error(error === undefined ? "the step gave no outcome" : JSON.stringify(error));
  return { ended: "failed", failure };
}
