import type { Clock } from "../../kit/clock.ts";
import { DeadlineError } from "../../kit/errors.ts";
import type { Log } from "../../kit/log.ts";
import type { IndiDevice } from "../session/device.ts";
import { numberIn } from "../wire/property.ts";
import { exposureProperty } from "./camera-exposure.ts";

const stopSeconds = 15;
/** How long a camera that was stopped may still deliver what it had [s]; nobody listens, so it is dropped. */
const drainSeconds = 0.5;

/**
 * Ends what the camera is exposing and waits until it is idle.
 * @param options.always abort even if it says that it is idle: after a time-out its word is not enough
 * @throws DeadlineError if it stays Busy
 */
export async function stopExposing(
  { device, clock, log }: { device: IndiDevice; clock: Clock; log: Log },
  options: { always: boolean },
  signal: AbortSignal,
): Promise<void> {
  const now = await device.refresh(exposureProperty, {}, signal);
  if (now.state !== "Busy" && !options.always) return;
  let withinSeconds = stopSeconds;
  if (device.property("CCD_ABORT_EXPOSURE")) {
    await device.send("CCD_ABORT_EXPOSURE", { ABORT: true }, signal);
  } else if (now.state === "Busy") {
    const leftSeconds = numberIn(now, "CCD_EXPOSURE_VALUE") ?? 0;
    log.warn({ device: device.name, leftSeconds }, "this camera cannot abort; its exposure is waited for");
    if (leftSeconds > 0) withinSeconds += leftSeconds;
  }
  await device
    .waitFor(exposureProperty, (vector) => vector.state !== "Busy", { withinSeconds }, signal)
    .catch(async (error: unknown) => {
      if (!(error instanceof DeadlineError)) throw error;
      // The answer may have been lost: the property itself decides.
      if ((await device.refresh(exposureProperty, {}, signal)).state === "Busy") throw error;
    });
  await clock.sleep(drainSeconds, signal);
}
