import { createActor, toPromise } from "xstate";
import type { RunReport } from "../record/run-record.ts";
import { RigRun } from "./rig-run.ts";
import { runMachine } from "./run-machine.ts";
import type { RunOptions } from "./run-options.ts";
import { xstateClock } from "./xstate-clock.ts";

/**
 * Carries a plan out on a rig, whatever happens to either, and reports how it ended. Never throws for the rig's
 * sake; the caller holds the rig's lock (`rig-lock.ts`) and turns `exitCode` into the process's own.
 */
export async function carryOut(options: RunOptions): Promise<RunReport> {
  const run = new RigRun(options);
  const actor = createActor(runMachine(options.table), {
    input: { hands: run },
    clock: xstateClock(options.clock),
  });
  const onStop = () => actor.send({ type: "OPERATOR_STOP" });
  const done = toPromise(actor);
  actor.start();
  if (options.signal.aborted) onStop();
  else options.signal.addEventListener("abort", onStop, { once: true });
  try {
    await done;
  } catch (error) {
    // The machine itself is broken, which is a fault of ours. The rig still has to be put back.
    run.failed(error);
    actor.stop();
    await finishByHand(run);
  } finally {
    options.signal.removeEventListener("abort", onStop);
  }
  return run.finish();
}

async function finishByHand(run: RigRun): Promise<void> {
  for (const step of [() => run.restoreIfBegun(), () => run.close(), () => run.report()]) {
    try {
      await step();
    } catch (error) {
      run.failed(error);
    }
  }
}
