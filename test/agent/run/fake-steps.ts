import type { Step } from "../../../agent/procedures/run-step.ts";
import type { StepOutcome, Workbench } from "../../../agent/procedures/step.ts";
import type { StepTable } from "../../../agent/run/steps/step-row.ts";
import { stepTable } from "../../../agent/run/steps/step-table.ts";
import { type StepKind, stepKinds } from "../../../plans/plan-steps.ts";

export type FakeWork = (bench: Workbench, signal: AbortSignal) => Promise<StepOutcome<unknown> | undefined>;

/** A step that does `work` and, asked to stop, waits for it to settle. */
export function fakeStep(work: FakeWork): Step<never, unknown> {
  return async ({ bench }, signal) => {
    try {
      return (await work(bench, signal)) ?? { ended: "completed" };
    } catch (error) {
      if (signal.aborted) return { ended: "stopped" };
      return { ended: "failed", failure: error as Error };
    }
  };
}

/** The steps as they are, but that they do what is given, or nothing for a second, and are planned to take a minute. */
export function fakeTable(works: Partial<Record<StepKind, FakeWork>>): StepTable {
  const idle: FakeWork = async (bench, signal) => {
    await bench.clock.sleep(1, signal);
    return undefined;
  };
  const fakes = stepKinds.map((kind) => [
    kind,
    {
      ...stepTable[kind],
      step: fakeStep(works[kind] ?? idle),
      request: (options: unknown) => options,
      ...(kind === "wait" ? {} : { secondsPlanned: () => 60 }),
    },
  ]);
  return Object.fromEntries(fakes) as StepTable;
}
