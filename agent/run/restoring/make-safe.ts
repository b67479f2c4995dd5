import { withDeadline } from "../../../drivers/kit/deadline.ts";
import { type Rig, stoppableDevices } from "../../../drivers/roles/rig.ts";
import type { RestoreTools } from "./restore-setting.ts";

/** A stop is quick or it does not come; a cover takes up to half a minute, and twice that when it is tried again. */
const trySecondsMax = 90;

/** Tries one safing move. @returns why it failed, `undefined` when it did not; never throws */
export async function attemptSafing(
  what: string,
  { clock, log, signal }: RestoreTools,
  move: (signal: AbortSignal) => Promise<unknown>,
): Promise<string | undefined> {
  try {
    await withDeadline(clock, { device: "rig", what, withinSeconds: trySecondsMax, signal }, move);
    return undefined;
  } catch (error) {
    const why = error instanceof Error ? error.message : String(error);
    log.warn({ what, why }, "could not make safe");
    return why;
  }
}

/** Nothing exposes, nothing moves; the mount's tracking stays as it is. */
export async function stopAllMotion(rig: Rig, tools: RestoreTools): Promise<void> {
  for (const device of stoppableDevices(rig))
    await attemptSafing(`stop the ${device.role}`, tools, (signal) => device.ensureStopped(signal));
}
