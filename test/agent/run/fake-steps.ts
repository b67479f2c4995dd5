import { fromPromise, setup } from "xstate";
import type { StepEvent, StepOutcome, Workbench } from "../../../agent/procedures/step.ts";
import type { StepTable } from "../../../agent/run/machine/step-entry.ts";
import type { StepKind } from "../../../plans/plan-steps.ts";

export type FakeWork = (bench: Workbench, signal: AbortSignal) => Promise<StepOutcome<unknown> | undefined>;

/** A step that does `work` and, asked to stop, aborts it and waits for it to settle. */
export function fakeStep(work: FakeWork) {
  type Context = { bench: Workbench; stop: AbortController };
  return setup({
    types: {} as {
      context: Context;
      input: { bench: Workbench; ask: unknown };
      events: StepEvent;
      output: StepOutcome<unknown>;
    },
    actors: {
      work: fromPromise<StepOutcome<unknown>, Context>(async ({ input: { bench, stop } }) => {
        try {
          return (await work(bench, stop.signal)) ?? { ended: "completed" };
        } catch (error) {
          if (stop.signal.aborted) return { ended: "stopped" };
          return { ended: "failed", failure: error as Error };
        }
      }),
    },
    actions: { abort: ({ context }) => context.stop.abort(new Error("asked to stop")) },
  }).createMachine({
    context: ({ input }) => ({ bench: input.bench, stop: new AbortController() }),
    initial: "working",
    output: ({ event }) => (event as unknown as { output: StepOutcome<unknown> }).output,
    on: { OPERATOR_STOP: { actions: "abort" }, SKY_LOST: { actions: "abort" } },
    states: {
      working: { invoke: { src: "work", input: ({ context }) => context, onDone: "ended" } },
      ended: { type: "final", output: ({ event }) => (event as unknown as { output: unknown }).output },
    },
  });
}

/** A table whose steps do what is given, or nothing for a second. */
export function fakeTable(works: Partial<Record<StepKind, FakeWork>>): StepTable {
  const idle: FakeWork = async (bench, signal) => {
    await bench.clock.sleep(1, signal);
    return undefined;
  };
  const entry = (kind: StepKind) => ({
    logic: fakeStep(works[kind] ?? idle),
    ask: (options: unknown) => options,
    secondsPlanned: () => 60,
  });
  return {
    centre: entry("centre"),
    "leak-check": entry("leak-check"),
    darks: entry("darks"),
    flat: entry("flat"),
    images: entry("images"),
    wait: entry("wait"),
  };
}
