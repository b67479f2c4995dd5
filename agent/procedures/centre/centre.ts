import { assign, fromCallback, fromPromise, setup } from "xstate";
import { DeadlineError } from "../../../drivers/kit/errors.ts";
import type { StepEvent, StepInput, StepOutcome } from "../step.ts";
import { calibrate } from "./calibrate.ts";
import type { CentreAsk, CentreFound } from "./centre-ask.ts";
import { NotCentredError, TooBrightError } from "./centre-errors.ts";
import { CentreWork } from "./centre-work.ts";
import { closeLoop, type LoopEnd, limbShowsWhenCentred } from "./close-loop.ts";
import { leaveSafe } from "./leave-safe.ts";
import { walkLimbs } from "./limb-walk.ts";
import { checkLimits, cover, point, setUpCamera, uncover } from "./prepare.ts";
import { recordLoop, recordWalk } from "./record.ts";
import { findLimb } from "./search.ts";

interface CentreContext {
  readonly work: CentreWork;
  readonly stop: AbortController;
  readonly ended: StepOutcome<CentreFound>["ended"];
  readonly failure: Error | undefined;
  readonly calibrations: number;
}

type CentreEvent = StepEvent | { type: "BUDGET_SPENT" };

/** Longer than the widest search on a slow mount takes [s]. */
const budgetSeconds = 3600;
const calibrationsMax = 3;

/** What a state does; the stop aborts its signal, and the state is left when the work has settled. */
function effect<Output = void>(work: (work: CentreWork, signal: AbortSignal) => Promise<Output>) {
  return fromPromise<Output, CentreContext>(({ input }) => {
    input.stop.signal.throwIfAborted();
    return work(input.work, input.stop.signal);
  });
}

const context = ({ context }: { context: CentreContext }) => context;
const outputOf = <Output>(event: unknown) => (event as { output: Output }).output;

/** Finds the Sun and brings it to the middle of the frame: the order of things; what each state does is elsewhere. */
export const centre = setup({
  types: {} as {
    input: StepInput<CentreAsk>;
    context: CentreContext;
    output: StepOutcome<CentreFound>;
    events: CentreEvent;
  },
  actors: {
    checkLimits: effect(checkLimits),
    cover: effect(cover),
    point: effect(point),
    setUpCamera: effect(setUpCamera),
    uncover: effect(uncover),
    findLimb: effect(findLimb),
    calibrate: effect(calibrate),
    closeLoop: effect<LoopEnd>(closeLoop),
    recordLoop: effect(recordLoop),
    walkLimbs: effect(async (work, signal) => recordWalk(work, await walkLimbs(work, signal), signal)),
    leaveSafe: fromPromise<void, CentreContext>(({ input: { work, ended } }) =>
      leaveSafe(work.bench, work.ask, ended === "completed"),
    ),
    watchBudget: fromCallback<{ type: "none" }, CentreContext>(({ input, sendBack }) => {
      const timer = input.work.bench.clock.setTimer(budgetSeconds, () => sendBack({ type: "BUDGET_SPENT" }));
      return () => timer.cancel();
    }),
  },
  guards: {
    // The closed loop proves a kept camera with its first move; the walk along the limbs has no such check.
    cameraKnown: ({ context: { work } }) => work.camera !== undefined && showsLimb(work),
    showsLimb: ({ context: { work } }) => showsLimb(work),
    centred: ({ event }) => outputOf<LoopEnd>(event) === "centred",
    mayRecalibrate: ({ context }) => context.calibrations < calibrationsMax,
  },
  actions: {
    abortStep: ({ context, event }) =>
      context.stop.abort(
        event.type === "SKY_LOST"
          ? new Error(`not safe to look: ${event.reasons.join("; ")}`)
          : event.type === "BUDGET_SPENT"
            ? new DeadlineError("mount", "centring", budgetSeconds)
            : new Error("stopped by the operator"),
      ),
    countCalibration: assign({ calibrations: ({ context }) => context.calibrations + 1 }),
    noteCentred: assign({ ended: "completed" }),
    noteFailure: assign(({ context, event }) => failureOf(context, (event as { error?: unknown }).error)),
    noteNotFollowing: assign({
      failure: () =>
        new NotCentredError(
          `after ${calibrationsMax} calibrations the picture still does not follow the mount's moves`,
        ),
    }),
    noteUnsafe: assign(({ context, event }) => ({
      ended: context.ended === "completed" ? ("failed" as const) : context.ended,
      failure: context.failure ?? errorFrom((event as { error?: unknown }).error),
    })),
  },
}).createMachine({
  id: "centre",
  context: ({ input: { bench, ask } }) => ({
    work: new CentreWork(bench, ask),
    stop: new AbortController(),
    ended: "failed",
    failure: undefined,
    calibrations: 0,
  }),
  output: ({ context: { ended, failure, work } }) => ({
    ended,
    ...(ended === "completed" && work.found ? { found: work.found } : {}),
    ...(failure ? { failure } : {}),
  }),
  initial: "working",
  states: {
    working: {
      initial: "checking",
      invoke: { src: "watchBudget", input: context },
      on: {
        OPERATOR_STOP: { actions: "abortStep" },
        SKY_LOST: { actions: "abortStep" },
        BUDGET_SPENT: { actions: "abortStep" },
      },
      states: {
        checking: { invoke: step("checkLimits", "covering") },
        covering: { invoke: step("cover", "pointing") },
        pointing: { invoke: step("point", "settingUp") },
        settingUp: { invoke: step("setUpCamera", "uncovering") },
        uncovering: { invoke: step("uncover", "searching") },
        searching: {
          invoke: {
            ...step("findLimb", "choosing"),
            onDone: [{ guard: "cameraKnown", target: "choosing" }, { target: "calibrating" }],
          },
        },
        calibrating: { entry: "countCalibration", invoke: step("calibrate", "choosing") },
        choosing: { always: [{ guard: "showsLimb", target: "centring" }, { target: "walking" }] },
        centring: {
          invoke: {
            ...step("closeLoop", "recording"),
            onDone: [
              { guard: "centred", target: "recording" },
              { guard: "mayRecalibrate", target: "searching" },
              { actions: "noteNotFollowing", target: "#centre.makingSafe" },
            ],
          },
        },
        walking: { invoke: step("walkLimbs", "centred") },
        recording: { invoke: step("recordLoop", "centred") },
        centred: { entry: "noteCentred", type: "final" },
      },
      onDone: "makingSafe",
    },
    makingSafe: {
      invoke: {
        src: "leaveSafe",
        input: context,
        onDone: "over",
        onError: { actions: "noteUnsafe", target: "over" },
      },
    },
    over: { type: "final" },
  },
});

function step<Source extends string, Target extends string>(src: Source, target: Target) {
  return {
    src,
    input: context,
    onDone: { target },
    onError: { target: "#centre.makingSafe", actions: "noteFailure" as const },
  };
}

function showsLimb({ eye }: CentreWork): boolean {
  return limbShowsWhenCentred(eye.shape, eye.discRadiusPx);
}

function failureOf({ stop }: CentreContext, error: unknown): Pick<CentreContext, "ended" | "failure"> {
  const failure = errorFrom(error);
  if (failure instanceof TooBrightError) return { ended: "unsafe", failure };
  const stopped = stop.signal.aborted && !(stop.signal.reason instanceof DeadlineError);
  return { ended: stopped ? "stopped" : "failed", failure };
}

function errorFrom(error: unknown): Error {
  return error instanceof Error ? error : new Error(String(error));
}
