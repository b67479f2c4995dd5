import { assign, enqueueActions, fromCallback, fromPromise, sendTo, setup } from "xstate";
import { stepKinds } from "../../../plans/plan-steps.ts";
import type { StepEvent } from "../../procedures/step.ts";
import { afterStep, outcomeIn, type RunContext, startRun } from "./run-context.ts";
import { CutShort, type RunHands } from "./run-hands.ts";
import type { StepTable } from "./step-entry.ts";

/** A step asked to stop has this long to settle; then it is abandoned and the rig made safe without it [s]. */
const stopGraceSeconds = 90;
/** Less when the sky is lost: the cover may be open. */
const skyGraceSeconds = 30;

/** Work that takes the signal may be cut short by a stop; work that does not runs to its end. */
function effect(work: (hands: RunHands, signal: AbortSignal) => Promise<void>) {
  return fromPromise<void, RunContext>(({ input }) => work(input.hands, input.patience.signal));
}

const takeContext = ({ context }: { context: RunContext }) => context;
const errorOf = (event: unknown) => (event as { error: unknown }).error;

/** The state in which a step of that kind is carried out. */
const stepState = (kind: string) => ({
  entry: { type: "noteStepBegins" as const },
  invoke: {
    id: "step",
    src: kind,
    input: ({ context }: { context: RunContext }) => context.hands.stepInput(context.stepIndex),
    onDone: { target: "judging", actions: { type: "noteOutcome" as const } },
    onError: { target: "judging", actions: { type: "noteOutcome" as const } },
  },
});

/**
 * The whole of a run. Two regions work in parallel, `steps` and `guard`; every way out leads through `restoring`,
 * which takes no events. What each state does is in `RunHands`; this is the order.
 */
export function runMachine(table: StepTable) {
  const stepActors = Object.fromEntries(stepKinds.map((kind) => [kind, table[kind].logic]));
  return setup({
    types: {} as { context: RunContext; input: { hands: RunHands }; events: StepEvent },
    actors: {
      ...stepActors,
      checkPlan: effect((hands, signal) => hands.checkPlan(signal)),
      connect: effect((hands, signal) => hands.connect(signal)),
      recover: effect((hands, signal) => hands.recover(signal)),
      checkRig: effect((hands, signal) => hands.checkRig(signal)),
      takeBaseline: effect((hands, signal) => hands.takeBaseline(signal)),
      openUp: effect((hands, signal) => hands.openUp(signal)),
      watch: fromCallback<{ type: "none" }, RunContext>(({ input, sendBack }) => {
        const watching = new AbortController();
        const onLost = (reason: string) => sendBack({ type: "SKY_LOST", reasons: [reason] });
        input.hands.watch(onLost, watching.signal).catch((error: unknown) => {
          if (!watching.signal.aborted) onLost(`the guard itself failed: ${String(error)}`);
        });
        return () => watching.abort(new Error("the guard is relieved"));
      }),
      retreat: effect((hands) => hands.retreat()),
      restore: effect((hands) => hands.restore()),
      close: effect((hands) => hands.close()),
      report: effect((hands) => hands.report()),
    },
    guards: {
      noStepLeft: ({ context }) => context.stepIndex >= context.hands.stepCount,
      mustEnd: ({ context }) => context.over || context.stopAsked,
      mustRetreat: ({ context }) => context.unsafe,
      mustOpenUp: ({ context }) => !context.openedUp && context.hands.kindOf(context.stepIndex) !== "wait",
      somethingToRecover: ({ context }) => context.hands.hasUnfinished(),
    },
    delays: { stopGrace: stopGraceSeconds * 1000, skyGrace: skyGraceSeconds * 1000 },
    actions: {
      noteFailure: enqueueActions(({ context, event, enqueue }) => {
        context.hands.failed(errorOf(event));
        enqueue.assign({ over: true });
      }),
      noteStepBegins: ({ context }) => context.hands.stepBegins(context.stepIndex),
      noteOutcome: enqueueActions(({ context, event, enqueue }) => {
        const outcome = outcomeIn(event);
        context.hands.stepEnded(context.stepIndex, outcome);
        enqueue.assign(afterStep(context, outcome));
      }),
      noteAbandoned: ({ context }) => context.hands.stepAbandoned(context.stepIndex),
      noteStop: enqueueActions(({ context, enqueue }) => {
        if (!context.stopAsked) context.hands.stopAsked();
        enqueue.assign({ stopAsked: true });
      }),
      cutShort: ({ context }) => context.patience.abort(new CutShort()),
      noteSkyLost: enqueueActions(({ context, event, enqueue }) => {
        if (event.type === "SKY_LOST") context.hands.skyLost(event.reasons);
        enqueue.assign({ unsafe: true });
      }),
      noteOpen: assign({ openedUp: true }),
      nextStep: assign({ stepIndex: ({ context }) => context.stepIndex + 1 }),
      tellStep: sendTo("step", ({ event }) => event),
    },
  }).createMachine({
    id: "run",
    context: ({ input }) => startRun(input.hands),
    initial: "checkingPlan",
    states: {
      checkingPlan: {
        on: { OPERATOR_STOP: { actions: ["noteStop", "cutShort"] } },
        invoke: {
          src: "checkPlan",
          input: takeContext,
          onDone: "connecting",
          onError: [
            { guard: "somethingToRecover", target: "connecting", actions: "noteFailure" },
            { target: "reporting", actions: "noteFailure" },
          ],
        },
      },
      connecting: {
        on: { OPERATOR_STOP: { actions: ["noteStop", "cutShort"] } },
        invoke: {
          src: "connect",
          input: takeContext,
          onDone: "recovering",
          onError: { target: "closing", actions: "noteFailure" },
        },
      },
      recovering: {
        on: { OPERATOR_STOP: { actions: "noteStop" } }, // and puts the earlier run back all the same
        invoke: {
          src: "recover",
          input: takeContext,
          onDone: [{ guard: "mustEnd", target: "closing" }, { target: "checkingRig" }],
          onError: { target: "closing", actions: "noteFailure" },
        },
      },
      checkingRig: {
        on: { OPERATOR_STOP: { actions: ["noteStop", "cutShort"] } },
        invoke: {
          src: "checkRig",
          input: takeContext,
          onDone: "baselining",
          onError: { target: "closing", actions: "noteFailure" },
        },
      },
      baselining: {
        on: { OPERATOR_STOP: { actions: ["noteStop", "cutShort"] } },
        invoke: {
          src: "takeBaseline",
          input: takeContext,
          onDone: [{ guard: "mustEnd", target: "restoring" }, { target: "working" }],
          onError: { target: "closing", actions: "noteFailure" },
        },
      },
      working: {
        type: "parallel",
        states: {
          steps: {
            // Here, not on `working`: a parallel state hears nothing of an event that one of its regions takes.
            on: {
              OPERATOR_STOP: { actions: ["noteStop", "tellStep"] },
              SKY_LOST: { actions: ["noteSkyLost", "tellStep"] },
            },
            initial: "choosing",
            states: {
              choosing: {
                always: [
                  { guard: "mustRetreat", target: "#run.retreating" },
                  { guard: "mustEnd", target: "#run.restoring" },
                  { guard: "noStepLeft", target: "#run.restoring" },
                  { guard: "mustOpenUp", target: "openingUp" },
                  ...stepKinds.map((kind) => ({
                    guard: ({ context }: { context: RunContext }) =>
                      context.hands.kindOf(context.stepIndex) === kind,
                    target: kind,
                  })),
                ],
              },
              openingUp: {
                on: {
                  OPERATOR_STOP: { actions: ["noteStop", "cutShort"] },
                  SKY_LOST: { actions: ["noteSkyLost", "cutShort"] },
                },
                invoke: {
                  src: "openUp",
                  input: takeContext,
                  onDone: { target: "choosing", actions: "noteOpen" },
                  onError: { target: "choosing", actions: "noteFailure" },
                },
              },
              ...Object.fromEntries(stepKinds.map((kind) => [kind, stepState(kind)])),
              judging: { always: { target: "choosing", actions: "nextStep" } },
            },
          },
          guard: {
            invoke: { src: "watch", input: takeContext },
            initial: "watching",
            states: {
              watching: { on: { OPERATOR_STOP: "stopAsked", SKY_LOST: "skyLost" } },
              stopAsked: {
                on: { SKY_LOST: "skyLost" },
                after: { stopGrace: { target: "#run.restoring", actions: "noteAbandoned" } },
              },
              skyLost: { after: { skyGrace: { target: "#run.retreating", actions: "noteAbandoned" } } },
            },
          },
        },
      },
      retreating: {
        invoke: {
          src: "retreat",
          input: takeContext,
          onDone: "restoring",
          onError: { target: "restoring", actions: "noteFailure" },
        },
      },
      restoring: {
        invoke: {
          src: "restore",
          input: takeContext,
          onDone: "closing",
          onError: { target: "closing", actions: "noteFailure" },
        },
      },
      closing: {
        invoke: {
          src: "close",
          input: takeContext,
          onDone: "reporting",
          onError: { target: "reporting", actions: "noteFailure" },
        },
      },
      reporting: {
        invoke: {
          src: "report",
          input: takeContext,
          onDone: "done",
          onError: { target: "done", actions: "noteFailure" },
        },
      },
      done: { type: "final" },
    },
  });
}
