import { assign, createActor, fromPromise, setup, toPromise } from "xstate";
import type { NewFlatAsked, StepEvent, StepInput, StepOutcome } from "./step.ts";
import { StepError } from "./step-error.ts";

/** What a state does, and where it leads. The first `when` that holds decides; one without always holds. */
export interface StepState<Work> {
  readonly does: (work: Work, signal: AbortSignal) => Promise<void>;
  readonly next: string | readonly { readonly to: string; readonly when?: (work: Work) => boolean }[];
}

export interface StepPlan<Ask, Work, Found> {
  readonly id: string;
  readonly begin: (input: StepInput<Ask>) => Work;
  readonly first: string;
  /** By name; `done` is where the work ends well. */
  readonly states: Readonly<Record<string, StepState<Work>>>;
  /** Every way out leads through it. It takes no events and hears no stop. */
  readonly makeSafe: (work: Work, ended: StepOutcome<Found>["ended"]) => Promise<void>;
  readonly found: (work: Work) => Found | undefined;
  /** What it wants done before the rest of it, of work that ended well. */
  readonly asks?: (work: Work) => NewFlatAsked | undefined;
}

interface Context<Work> {
  readonly work: Work;
  readonly stop: AbortController;
  readonly ended: StepOutcome<never>["ended"];
  readonly failure: Error | undefined;
}

/**
 * The machine of a step whose states each do one thing. A stop aborts the signal of the state in hand; the state is left
 * when its work has settled, and always through `makingSafe`.
 */
export function stepMachine<Ask, Work, Found>(plan: StepPlan<Ask, Work, Found>) {
  const context = ({ context }: { context: Context<Work> }) => context;
  const effects = Object.fromEntries(
    Object.entries(plan.states).map(([name, state]) => [
      name,
      fromPromise<void, Context<Work>>(({ input }) => {
        input.stop.signal.throwIfAborted();
        return state.does(input.work, input.stop.signal);
      }),
    ]),
  );
  const machine = setup({
    types: {} as {
      input: StepInput<Ask>;
      context: Context<Work>;
      output: StepOutcome<Found>;
      events: StepEvent;
    },
    actors: {
      ...effects,
      makeSafe: fromPromise<void, Context<Work>>(({ input }) => plan.makeSafe(input.work, input.ended)),
    },
    actions: {
      abortStep: ({ context, event }) => context.stop.abort(reasonOf(event)),
      noteDone: assign({ ended: "completed" }),
      noteFailure: assign(({ context, event }) => failureOf(context, (event as { error?: unknown }).error)),
      noteUnsafe: assign(({ context, event }) => ({
        ended: context.ended === "completed" ? ("failed" as const) : context.ended,
        failure: context.failure ?? asError((event as { error?: unknown }).error),
      })),
    },
  });
  const states = Object.fromEntries(
    Object.entries(plan.states).map(([name, { next }]) => {
      const ways = typeof next === "string" ? [{ to: next }] : next;
      return [
        name,
        {
          invoke: {
            src: name as never,
            input: context,
            onDone: ways.map(({ to, when }: { to: string; when?: (work: Work) => boolean }) => ({
              target: to,
              reenter: true,
              ...(when ? { guard: ({ context }: { context: Context<Work> }) => when(context.work) } : {}),
            })),
            onError: { target: `#${plan.id}.makingSafe`, actions: "noteFailure" as const },
          },
        },
      ];
    }),
  );
  return machine.createMachine({
    id: plan.id,
    context: ({ input }) => ({
      work: plan.begin(input),
      stop: new AbortController(),
      ended: "failed",
      failure: undefined,
    }),
    output: ({ context: { work, ended, failure } }) => {
      const found = plan.found(work);
      const asks = ended === "completed" ? plan.asks?.(work) : undefined;
      return {
        ended,
        ...(found === undefined ? {} : { found }),
        ...(failure ? { failure } : {}),
        ...(asks ? { asks } : {}),
      };
    },
    initial: "working",
    states: {
      working: {
        initial: plan.first,
        on: { OPERATOR_STOP: { actions: "abortStep" }, SKY_LOST: { actions: "abortStep" } },
        states: { ...(states as object), done: { entry: "noteDone", type: "final" } },
        onDone: "makingSafe",
      },
      makingSafe: {
        invoke: {
          src: "makeSafe" as never,
          input: context,
          onDone: "over",
          onError: { actions: "noteUnsafe", target: "over" },
        },
      },
      over: { type: "final" },
    },
  });
}

/**
 * Runs another step's machine as a part of this one: a stop is passed on, and its own safing is waited for.
 * @throws its failure, or the reason of the stop
 */
export async function runPart<Ask, Work, Found>(
  machine: ReturnType<typeof stepMachine<Ask, Work, Found>>,
  input: StepInput<Ask>,
  signal: AbortSignal,
): Promise<Found> {
  signal.throwIfAborted();
  const actor = createActor(machine, { input });
  const over = toPromise(actor) as Promise<StepOutcome<Found>>;
  const onAbort = () => actor.send({ type: "OPERATOR_STOP" });
  signal.addEventListener("abort", onAbort, { once: true });
  actor.start();
  try {
    const outcome = await over;
    if (outcome.ended === "completed" && outcome.found !== undefined) return outcome.found;
    if (outcome.ended === "stopped") signal.throwIfAborted();
    throw outcome.failure ?? new Error("a part of the step ended without a result");
  } finally {
    signal.removeEventListener("abort", onAbort);
  }
}

function reasonOf(event: StepEvent): Error {
  if (event.type === "SKY_LOST") return new Error(`not safe to look: ${event.reasons.join("; ")}`);
  return new Error("stopped by the operator");
}

function failureOf<Work>({ stop }: Context<Work>, error: unknown): Pick<Context<Work>, "ended" | "failure"> {
  const failure = asError(error);
  if (failure instanceof StepError && failure.unsafe) return { ended: "unsafe", failure };
  return { ended: stop.signal.aborted ? "stopped" : "failed", failure };
}

function asError(error: unknown): Error {
  return error instanceof Error ? error : new Error(String(error));
}
