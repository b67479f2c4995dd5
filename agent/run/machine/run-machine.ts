import { assign, fromCallback, fromPromise, setup } from "xstate";
import { InterruptedError } from "../record/run-errors.ts";
import type { RunEffects } from "./run-effects.ts";

/** A step asked to stop has this long to settle; then it is abandoned and the rig made safe without it [s]. */
const stopGraceSeconds = 90;
/** Less when the sky is lost: the cover may be open. */
const skyGraceSeconds = 30;

/** What the machine is about; all that it knows is in the facts of the effects. */
interface RunContext {
  readonly effects: RunEffects;
  /** The one stop of the run: whatever may be cut short takes its signal. */
  readonly stop: AbortController;
}

type RunEvent =
  /** The reason is that of the stop as it came from the terminal. */
  | { readonly type: "OPERATOR_STOP"; readonly reason: unknown }
  | { readonly type: "SKY_LOST"; readonly reason: string; readonly ofWeather: boolean };

/** Work that takes the signal may be cut short by a stop; work that does not runs to its end. */
function effect(work: (effects: RunEffects, signal: AbortSignal) => Promise<void>) {
  return fromPromise<void, RunContext>(({ input }) => work(input.effects, input.stop.signal));
}

const takeContext = ({ context }: { context: RunContext }) => context;
const stops = { OPERATOR_STOP: { actions: ["noteStop", "interrupt"] } } as const;
const failed = <Target extends string>(target: Target) => ({ target, actions: "noteFailure" as const });

/**
 * The whole of a run. Two regions work in parallel, `steps` and `guard`; every way out leads through `restoring`,
 * which takes no events. What each state does is in `RunEffects`; this is the order.
 */
export const runMachine = setup({
  types: {} as { context: RunContext; input: RunContext; events: RunEvent },
  actors: {
    checkPlan: effect((effects) => effects.checkPlan()),
    connect: effect((effects, signal) => effects.connect(signal)),
    recover: effect((effects, signal) => effects.recover(signal)),
    checkRig: effect((effects, signal) => effects.checkRig(signal)),
    takeBaseline: effect((effects, signal) => effects.takeBaseline(signal)),
    setUpCamera: effect((effects, signal) => effects.setUpCamera(signal)),
    openUp: effect((effects, signal) => effects.openUp(signal)),
    runStep: effect((effects, signal) => effects.runStep(signal)),
    watch: fromCallback<{ type: "none" }, RunContext>(({ input, sendBack }) => {
      const watching = new AbortController();
      const onLost = (reason: string, ofWeather: boolean) =>
        sendBack({ type: "SKY_LOST", reason, ofWeather } satisfies RunEvent);
      input.effects.watch(onLost, watching.signal).catch((error: unknown) => {
        if (!watching.signal.aborted) onLost(`the guard itself failed: ${String(error)}`, false);
      });
      return () => watching.abort(new Error("the guard is relieved"));
    }),
    retreat: effect((effects) => effects.retreat()),
    restore: effect((effects) => effects.restore()),
    close: effect((effects) => effects.close()),
    report: effect((effects) => effects.report()),
  },
  guards: {
    noStepLeft: ({ context }) => context.effects.steps.noneLeft,
    mustEnd: ({ context }) => context.effects.facts.mustEnd,
    mustRetreat: ({ context }) => context.effects.facts.unsafe,
    mustSetUpCamera: ({ context }) => context.effects.mustSetUpCamera,
    mustOpenUp: ({ context }) => context.effects.mustOpenUp,
    somethingToRecover: ({ context }) => context.effects.hasUnfinished(),
  },
  delays: { stopGrace: stopGraceSeconds * 1000, skyGrace: skyGraceSeconds * 1000 },
  actions: {
    // As assignments, because those are made before the guards of the same transition look at the facts.
    noteFailure: assign(({ context: { effects, stop }, event }) => {
      const { error } = event as unknown as { error: unknown };
      effects.facts.breakOff(error, stop.signal.aborted && error === stop.signal.reason);
      return {};
    }),
    noteStop: assign(({ context }) => {
      context.effects.facts.askStop();
      return {};
    }),
    noteSkyLost: assign(({ context, event }) => {
      if (event.type !== "SKY_LOST") return {};
      context.effects.coverAtOnce();
      context.effects.facts.loseSky(event.reason, event.ofWeather);
      return {};
    }),
    /** The first reason stays. */
    interrupt: ({ context, event }) =>
      context.stop.abort(
        event.type === "SKY_LOST" ? new InterruptedError(`not safe to look: ${event.reason}`) : event.reason,
      ),
    abandonStep: ({ context }) => context.effects.steps.abandon(),
  },
}).createMachine({
  id: "run",
  context: ({ input }) => input,
  initial: "checkingPlan",
  states: {
    checkingPlan: {
      on: stops,
      invoke: {
        src: "checkPlan",
        input: takeContext,
        onDone: "connecting",
        onError: [{ guard: "somethingToRecover", ...failed("connecting") }, failed("reporting")],
      },
    },
    connecting: {
      on: stops,
      invoke: { src: "connect", input: takeContext, onDone: "recovering", onError: failed("closing") },
    },
    recovering: {
      on: stops, // and puts the earlier run back all the same
      invoke: {
        src: "recover",
        input: takeContext,
        onDone: [{ guard: "mustEnd", target: "closing" }, { target: "checkingRig" }],
        onError: failed("closing"),
      },
    },
    checkingRig: {
      on: stops,
      invoke: { src: "checkRig", input: takeContext, onDone: "baselining", onError: failed("closing") },
    },
    baselining: {
      on: stops,
      invoke: {
        src: "takeBaseline",
        input: takeContext,
        onDone: [{ guard: "mustEnd", target: "restoring" }, { target: "working" }],
        onError: failed("closing"),
      },
    },
    working: {
      type: "parallel",
      states: {
        steps: {
          // Here, not on `working`: a parallel state hears nothing of an event that one of its regions takes.
          on: { ...stops, SKY_LOST: { actions: ["noteSkyLost", "interrupt"] } },
          initial: "choosing",
          states: {
            choosing: {
              always: [
                { guard: "mustRetreat", target: "#run.retreating" },
                { guard: "mustEnd", target: "#run.restoring" },
                { guard: "noStepLeft", target: "#run.restoring" },
                { guard: "mustSetUpCamera", target: "settingUpCamera" },
                { guard: "mustOpenUp", target: "openingUp" },
                { target: "stepping" },
              ],
            },
            settingUpCamera: {
              invoke: {
                src: "setUpCamera",
                input: takeContext,
                onDone: "choosing",
                onError: failed("choosing"),
              },
            },
            openingUp: {
              invoke: { src: "openUp", input: takeContext, onDone: "choosing", onError: failed("choosing") },
            },
            stepping: {
              invoke: { src: "runStep", input: takeContext, onDone: "choosing", onError: failed("choosing") },
            },
          },
        },
        guard: {
          invoke: { src: "watch", input: takeContext },
          initial: "watching",
          states: {
            watching: { on: { OPERATOR_STOP: "stopAsked", SKY_LOST: "skyLost" } },
            stopAsked: {
              on: { SKY_LOST: "skyLost" },
              after: { stopGrace: { target: "#run.restoring", actions: "abandonStep" } },
            },
            skyLost: { after: { skyGrace: { target: "#run.retreating", actions: "abandonStep" } } },
          },
        },
      },
    },
    retreating: {
      invoke: { src: "retreat", input: takeContext, onDone: "restoring", onError: failed("restoring") },
    },
    restoring: {
      invoke: { src: "restore", input: takeContext, onDone: "closing", onError: failed("closing") },
    },
    closing: {
      invoke: { src: "close", input: takeContext, onDone: "reporting", onError: failed("reporting") },
    },
    reporting: {
      invoke: { src: "report", input: takeContext, onDone: "done", onError: failed("done") },
    },
    done: { type: "final" },
  },
});
