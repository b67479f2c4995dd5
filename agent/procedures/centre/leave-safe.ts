import type { Workbench } from "../step.ts";
import type { CentreAsk } from "./centre-ask.ts";

/** Stops what may still go on; closes the cover unless the Sun is centred and it is to stay open. */
export async function leaveSafe({ rig }: Workbench, ask: CentreAsk, centred: boolean): Promise<void> {
  const signal = new AbortController().signal; // safing never hears the stop that led to it
  const failures: unknown[] = [];
  const attempt = async (move: () => Promise<unknown> | undefined) => {
    try {
      await move();
    } catch (error) {
      failures.push(error);
    }
  };
  if (!centred || ask.coverAfter === "closed") await attempt(() => rig.cover?.ensureClosed(signal));
  await attempt(() => rig.camera.ensureStopped(signal));
  await attempt(() => rig.mount?.ensureStopped(signal));
  if (failures.length === 1) throw failures[0];
  if (failures.length > 1)
    throw new AggregateError(failures, "the rig could not be left safe after centring");
}
