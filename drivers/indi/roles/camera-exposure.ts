import { DeadlineError } from "../../kit/errors.ts";
import { startStopwatch } from "../../kit/stopwatch.ts";
import { ExposureFailedError } from "../../roles/exposure-attempts.ts";
import type { IndiDevice } from "../session/device.ts";
import type { RoleTools } from "../session/indi-role.ts";
import type { IndiBlob } from "../wire/blob.ts";
import { numberIn, type PropertyVector } from "../wire/property.ts";

export const exposureProperty = "CCD_EXPOSURE";
const element = "CCD_EXPOSURE_VALUE";
/** A camera that shows neither Busy nor an end after this time has not heard the request [s]. */
const answerSeconds = 10;
const stopSeconds = 15;
/** How long a camera that was stopped may still deliver what it had [s]; nobody listens, so it is dropped. */
const drainSeconds = 0.5;

/**
 * One exposure from its command to both of its ends, in whichever order they come: the image, and the final state.
 * Neither is enough: Ok comes without an image too (sent elsewhere, or lost), and an image may be an older one.
 * @param accept tells this request's image from others; one that is not accepted is dropped and the wait goes on
 * @throws ExposureFailedError (Alert, or the request had no effect), DeadlineError, DeviceLostError
 */
export async function exposeOnce(
  { device, clock }: RoleTools,
  ask: {
    readonly exposureSeconds: number;
    readonly readoutSeconds: number;
    readonly blobProperty: string;
    /** Whether the image's place among the states is certain. */
    readonly ordered: boolean;
    readonly accept: (blob: IndiBlob) => boolean;
  },
  signal: AbortSignal,
): Promise<IndiBlob> {
  const withinSeconds = ask.exposureSeconds + 2 * ask.readoutSeconds + answerSeconds;
  const both = new AbortController();
  const giveUp = (reason: unknown) => both.abort(reason);
  const onAbort = () => giveUp(signal.reason);
  signal.addEventListener("abort", onAbort, { once: true });
  const budget = (what: string, seconds: number) =>
    clock.setTimer(seconds, () => giveUp(new DeadlineError(device.name, what, seconds)));
  let timer = budget("the exposure", ask.exposureSeconds + ask.readoutSeconds);

  const asked = device.revision;
  let busyRevision: number | undefined;
  const stopWatching = device.watch((event) => {
    if (event.type !== "updated" || event.vector.name !== exposureProperty) return;
    if (event.vector.revision > asked && isOwnBusy(event.vector)) busyRevision ??= event.vector.revision;
  });
  try {
    signal.throwIfAborted();
    // Waited for before the command is sent: a fast camera's image must find us listening.
    const image = device.nextBlob(
      ask.blobProperty,
      { withinSeconds, after: ask.ordered ? () => busyRevision : asked, accept: ask.accept },
      both.signal,
    );
    image.catch(() => {});
    const sent = await device.send(exposureProperty, { [element]: ask.exposureSeconds }, both.signal);
    // An Ok without any Busy is the old state once more, unless the time is over.
    const elapsedSeconds = startStopwatch(clock);
    const mayEnd = () => busyRevision !== undefined || elapsedSeconds() >= 0.9 * ask.exposureSeconds;
    const ended = untilEnded(device, { sent, withinSeconds, mayEnd }, both.signal);
    ended.catch(() => {});
    // When one of the two has come, the other has as long as a read-out takes.
    await Promise.race([image, ended]);
    timer.cancel();
    timer = budget("the second of image and end of exposure", ask.readoutSeconds);
    const [blob] = await Promise.all([image, ended]);
    return blob;
  } catch (error) {
    giveUp(error);
    throw error;
  } finally {
    stopWatching();
    timer.cancel();
    signal.removeEventListener("abort", onAbort);
  }
}

function isOwnBusy(vector: PropertyVector): boolean {
  return vector.state === "Busy" && !vector.awaitingAnswer;
}

/** Only the state tells: Busy with 0 left is still reading out, and some never show 0. Fast mode ends Idle. */
async function untilEnded(
  device: IndiDevice,
  options: { sent: number; withinSeconds: number; mayEnd: () => boolean },
  signal: AbortSignal,
): Promise<void> {
  const { sent, withinSeconds, mayEnd } = options;
  const isEnd = (vector: PropertyVector) =>
    !vector.awaitingAnswer &&
    (vector.state === "Alert" || ((vector.state === "Ok" || vector.state === "Idle") && mayEnd()));
  const first = await device
    .waitFor(
      exposureProperty,
      (vector) => isOwnBusy(vector) || isEnd(vector),
      { after: sent, withinSeconds: answerSeconds },
      signal,
    )
    .catch(async (error: unknown) => {
      signal.throwIfAborted();
      if (!(error instanceof DeadlineError)) throw error;
      // Silence: the truth is asked for. Anything but Busy means that the request was lost.
      const truth = await device.refresh(exposureProperty, {}, signal);
      if (truth.state === "Busy" || truth.state === "Alert") return truth;
      throw new ExposureFailedError(device.name, `the exposure did not begin (state ${truth.state})`);
    });
  const last = isEnd(first)
    ? first
    : await device.waitFor(exposureProperty, isEnd, { after: first.revision, withinSeconds }, signal);
  if (last.state === "Alert") {
    throw new ExposureFailedError(
      device.name,
      `the exposure failed${last.message ? `: ${last.message}` : ""}`,
    );
  }
}

/**
 * Ends what the camera is exposing and waits until it is idle.
 * @param options.always abort even if it says that it is idle: after a time-out its word is not enough
 * @throws DeadlineError if it stays Busy
 */
export async function stopExposing(
  { device, clock, log }: RoleTools,
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
  await device.untilIdle(exposureProperty, withinSeconds, signal).catch(async (error: unknown) => {
    if (!(error instanceof DeadlineError)) throw error;
    // The answer may have been lost: the property itself decides.
    if ((await device.refresh(exposureProperty, {}, signal)).state === "Busy") throw error;
  });
  await clock.sleep(drainSeconds, signal);
}
