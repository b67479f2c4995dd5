import { createActor, toPromise } from "xstate";
import { xstateClock } from "../run/machine/xstate-clock.ts";
import { ServiceEffects } from "./service-effects.ts";
import { serviceMachine } from "./service-machine.ts";
import type { ServiceOptions } from "./service-options.ts";

/**
 * Serves one rig by its schedule until the signal aborts. The caller sees to it that no other service serves that rig.
 * @returns how many runs it began
 * @throws what is wrong with the files or the ledger at the start; a fault of ours
 */
export async function serveSchedule(options: ServiceOptions): Promise<{ readonly runs: number }> {
  const effects = new ServiceEffects(options);
  const actor = createActor(serviceMachine, { input: { effects }, clock: xstateClock(options.clock) });
  const done = toPromise(actor);
  actor.start();
  await done;
  if (effects.failure !== undefined) throw effects.failure;
  return { runs: effects.runs };
}
