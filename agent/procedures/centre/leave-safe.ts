import { tryAll } from "../leave-rig.ts";
import type { Workbench } from "../step.ts";
import type { CentreAsk } from "./centre-ask.ts";

/** Stops what may still go on; closes the cover unless the Sun is centred and it is to stay open. */
export async function leaveCentringSafe(
  { rig }: Workbench,
  { coverAfter }: CentreAsk,
  centred: boolean,
  signal: AbortSignal,
): Promise<void> {
  await tryAll([
    () => (centred && coverAfter === "open" ? undefined : rig.cover?.ensureClosed(signal)),
    () => rig.camera.ensureStopped(signal),
    () => rig.mount?.ensureStopped(signal),
  ]);
}
