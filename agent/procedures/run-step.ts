import { given } from "../../drivers/kit/given.ts";
import { isUnsafe } from "../safing/unsafe-error.ts";
import type { StepInput, StepOutcome, StepWork } from "./step.ts";
import { StepError } from "./step-error.ts";

/** Does its work until that has ended or the signal aborts, and leaves the rig safe either way. */
export type Step<Request, Found> = (
  input: StepInput<Request>,
  signal: AbortSignal,
) => Promise<StepOutcome<Found>>;

/** One thing that a step does, and where it leads. The first `when` that holds decides; one without always holds. */
export interface StepState<Work> {
  readonly does: (work: Work, signal: AbortSignal) => Promise<unknown>;
  readonly next: string | readonly { readonly to: string; readonly when?: (work: Work) => boolean }[];
}

/** A step as a table of contents. */
export interface StepStates<Request, Found, Work extends StepWork<Request, Found>> {
  readonly begin: (input: StepInput<Request>) => Work;
  readonly first: string;
  /** By name; `done` is where the work ends well. */
  readonly states: Readonly<Record<string, StepState<Work>>>;
  /** Every way out leads through it. Its signal is not the one that ended the work: it aborts only when the step is given up. */
  readonly makeSafe: (work: Work, ended: StepOutcome<Found>["ended"], signal: AbortSignal) => Promise<void>;
}

/**
 * A step that goes from state to state. When the signal aborts, the state in hand settles and no other begins. It never
 * rejects for the rig's sake; what fails in making safe is the step's failure if it had none before.
 */
export function defineStep<Request, Found, Work extends StepWork<Request, Found> = StepWork<Request, Found>>(
  step: StepStates<Request, Found, Work>,
): Step<Request, Found> {
  return async (input, signal) => {
    const work = step.begin(input);
    let ended: StepOutcome<Found>["ended"] = "completed";
    let failure: Error | undefined;
    try {
      await goThrough(step, work, signal);
    } catch (error) {
      failure = asError(error);
      ended = endOf(failure, signal);
    }
    const { abandoned, front, noteUnsafe } = input.bench;
    if (failure && ended === "unsafe") {
      front.turnAway = true;
      noteUnsafe?.(failure);
    }
    try {
      abandoned.throwIfAborted(); // the rig is being made safe by the run, and this would come between
      await step.makeSafe(work, ended, abandoned);
    } catch (error) {
      if (isUnsafe(error)) {
        ended = "unsafe";
        failure = asError(error);
      }
      if (ended === "completed") ended = "failed";
      failure ??= asError(error);
    }
    const asks = ended === "completed" ? work.asks : undefined;
    return { ended, ...given({ found: work.result, failure, asks }) };
  };
}

/** Carries out another step as a part of this one. @throws its failure, or the reason of the stop */
export async function runSubstep<Request, Found>(
  step: Step<Request, Found>,
  input: StepInput<Request>,
  signal: AbortSignal,
): Promise<Found> {
  signal.throwIfAborted();
  const { ended, found, failure } = await step(input, signal);
  if (ended === "completed" && found !== undefined) return found;
  if (ended === "stopped") signal.throwIfAborted();
  throw failure ?? new Error("a part of the step ended without a result");
}

async function goThrough<Request, Found, Work extends StepWork<Request, Found>>(
  { first, states }: StepStates<Request, Found, Work>,
  work: Work,
  signal: AbortSignal,
): Promise<void> {
  let name = first;
  while (name !== "done") {
    signal.throwIfAborted();
    const state = states[name];
    if (!state) throw new Error(`the step has no state ${name}`);
    await state.does(work, signal);
    const { next } = state;
    const path = typeof next === "string" ? { to: next } : next.find(({ when }) => when?.(work) ?? true);
    if (!path) throw new Error(`no path leads on from the state ${name}`);
    name = path.to;
  }
}

function endOf(failure: Error, signal: AbortSignal): "unsafe" | "stopped" | "failed" {
  if (isUnsafe(failure) || (failure instanceof StepError && failure.unsafe !== false)) return "unsafe";
  return signal.aborted ? "stopped" : "failed";
}

function asError(error: unknown): Error {
  return error instanceof Error ? error : new Error(String(error));
}
