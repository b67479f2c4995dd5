import { assign, fromPromise, setup } from "xstate";
import type { ServiceEffects } from "./service-effects.ts";

interface ServiceContext {
  readonly effects: ServiceEffects;
}

/** Every work hears the one stop of the service itself, and settles before the state is left. */
function effect(work: (effects: ServiceEffects) => Promise<void>) {
  return fromPromise<void, ServiceContext>(({ input }) => work(input.effects));
}

const takeContext = ({ context }: { context: ServiceContext }) => context;
const failed = { target: "stopping", actions: "noteFailure" } as const;

/** The whole of a service. What each state does is in `ServiceEffects`; this is the order. */
export const serviceMachine = setup({
  types: {} as { context: ServiceContext; input: ServiceContext },
  actors: {
    start: effect((effects) => effects.start()),
    recover: effect((effects) => effects.recover()),
    standBy: effect((effects) => effects.standBy()),
    runNext: effect((effects) => effects.runNext()),
    waitForPerson: effect((effects) => effects.waitForPerson()),
    stop: effect((effects) => effects.stop()),
  },
  guards: {
    mustStop: ({ context }) => context.effects.mustStop,
    isHeld: ({ context }) => context.effects.isHeld,
    mustRecover: ({ context }) => context.effects.mustRecover,
  },
  actions: {
    noteFailure: assign(({ context, event }) => {
      context.effects.noteFailure((event as unknown as { error: unknown }).error);
      return {};
    }),
  },
}).createMachine({
  id: "service",
  context: ({ input }) => input,
  initial: "starting",
  states: {
    starting: { invoke: { src: "start", input: takeContext, onDone: "recovering", onError: failed } },
    recovering: { invoke: { src: "recover", input: takeContext, onDone: "choosing", onError: failed } },
    choosing: {
      always: [
        { guard: "mustStop", target: "stopping" },
        { guard: "isHeld", target: "held" },
        { guard: "mustRecover", target: "recovering" },
        { target: "standingBy" },
      ],
    },
    standingBy: {
      invoke: {
        src: "standBy",
        input: takeContext,
        onDone: [
          { guard: "mustStop", target: "stopping" },
          { guard: "isHeld", target: "held" },
          { guard: "mustRecover", target: "recovering" },
          { target: "running" },
        ],
        onError: failed,
      },
    },
    running: { invoke: { src: "runNext", input: takeContext, onDone: "choosing", onError: failed } },
    held: { invoke: { src: "waitForPerson", input: takeContext, onDone: "choosing", onError: failed } },
    stopping: { invoke: { src: "stop", input: takeContext, onDone: "done", onError: "done" } },
    done: { type: "final" },
  },
});
