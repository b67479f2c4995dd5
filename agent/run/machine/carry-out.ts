import { createActor, toPromise } from "xstate";
import type { RunReport } from "../record/run-record.ts";
import { RunEffects } from "./run-effects.ts";
import { runMachine } from "./run-machine.ts";
import type { RunOptions } from "./run-options.ts";
import { xstateClock } from "./xstate-clock.ts";

/**
 * Carries a plan out on a rig, whatever happens to either, and reports how it ended. Never throws for the rig's
 * sake; the caller holds the rig's lock (`rig-lock.ts`) and turns `exitCode` into the process's own.
 */
export async function carryOut(options: RunOptions): Promise<RunReport> {
  const { signal } = options;
  const effects = new RunEffects(options);
  const stop = new AbortController();
  const actor = createActor(runMachine, { input: { effects, stop }, clock: xstateClock(options.clock) });
  const onStop = () => actor.send({ type: "OPERATOR_STOP", reason: signal.reason });
  const done = toPromise(actor);
  actor.start();
  if (signal.aborted) onStop();
  else signal.addEventListener("abort", onStop, { once: true });
  try {
    await done;
  } catch (error) {
    // The machine itself is broken, which is a fault of ours. The rig still has to be put back.
    effects.facts.breakOff(error, false);
    actor.stop();
    stop.abort(error);
    effects.steps.abandon();
    await finishByHand(effects);
  } finally {
    signal.removeEventListener("abort", onStop);
  }
  return effects.finish();
}

async function finishByHand(effects: RunEffects): Promise<void> {
  for (const step of [() => effects.restore(), () => effects.close(), () => effects.report()]) {
    try {
      await step();
    } catch (error) {
      effects.facts.breakOff(error, false);
    }
  }
}
