import { startStopwatch } from "../../kit/stopwatch.ts";
import { parseUtcMs } from "../../kit/utc.ts";
import { ExposureFailedError } from "../../roles/exposure-attempts.ts";
import type { RoleTools } from "../session/alpaca-role.ts";
import type { AlpacaDevice } from "../session/device.ts";
import { AscomError, ascom, HttpStatusError, isSilence } from "../wire/errors.ts";
import type { DecodedImage } from "../wire/image-bytes.ts";
import { flag, number, text } from "../wire/values.ts";
import type { CameraFacts } from "./camera-facts.ts";

export const cameraState = { idle: 0, waiting: 1, exposing: 2, reading: 3, download: 4, error: 5 } as const;

/** How often a long exposure is looked at on its way: a restarted server or a failed camera shows early [s]. */
const lookSeconds = 15;
const stopSeconds = 20;

export interface ExposureResult {
  readonly image: DecodedImage;
  /** As the camera reports it, or as asked where it does not. */
  readonly exposureSeconds: number;
  readonly startedUtcMs: number | undefined;
}

/** What earlier exposures teach of the next one. */
export class ExposureMemory {
  /** How late after its exposure a frame is ready [s]: cameras take much the same time again and again. */
  readoutSeconds = 0;
  /** When the last one started, in the camera's words. */
  lastStart: string | undefined;

  /**
   * Halves what is not known between the last look that was too early and the first that was not; a first look that
   * finds the frame ready tries a little earlier next time.
   */
  learnReadout(readySeconds: number, notYetSeconds: number | undefined): void {
    this.readoutSeconds =
      notYetSeconds === undefined
        ? Math.min(this.readoutSeconds, readySeconds) * 0.97
        : Math.max(0, (readySeconds + notYetSeconds) / 2);
  }
}

/**
 * Starts an exposure, waits for it with few requests, and fetches its image.
 * @throws ExposureFailedError when the camera does not begin, fails or forgets the exposure, DeadlineError (exposure + readout), and what
 *   requests throw
 */
export async function exposeOnce(
  tools: RoleTools,
  request: { exposureSeconds: number; light: boolean; readoutSeconds: number; maxAdu: number },
  memory: ExposureMemory,
  signal: AbortSignal,
): Promise<ExposureResult> {
  const { device, clock } = tools;
  const { exposureSeconds, light, readoutSeconds, maxAdu } = request;
  memory.lastStart ??= await lastStart(device, signal);
  const elapsedSeconds = startStopwatch(clock);
  await startExposure(device, { Duration: exposureSeconds, Light: light }, signal);
  while (exposureSeconds - elapsedSeconds() > 1.5 * lookSeconds) {
    await clock.sleep(lookSeconds, signal);
    await checkOnItsWay(tools, signal);
  }
  const doneSeconds = exposureSeconds + memory.readoutSeconds;
  let notYetSeconds: number | undefined;
  const precisionSeconds = Math.min(0.5, Math.max(0.01, 0.02 * exposureSeconds));
  const started = await device.until(
    "the exposure",
    {
      withinSeconds: exposureSeconds - elapsedSeconds() + readoutSeconds,
      expectSeconds: doneSeconds - elapsedSeconds(),
      precisionSeconds,
    },
    async (abort) => {
      if (!(await device.get("imageready", flag, abort))) {
        notYetSeconds = elapsedSeconds() - exposureSeconds;
        await checkNotFailed(device, elapsedSeconds() > exposureSeconds + 2, abort);
        return undefined;
      }
      // A camera may still show the frame before this one.
      const start = await lastStart(device, abort);
      return start !== undefined && start === memory.lastStart ? undefined : { start };
    },
    signal,
  );
  memory.learnReadout(elapsedSeconds() - exposureSeconds, notYetSeconds);
  memory.lastStart = started.start;
  const image = await device.image(maxAdu, readoutSeconds, signal);
  const reported = await unlessNow(device.optional("lastexposureduration", number, signal));
  return {
    image,
    exposureSeconds: reported !== undefined && reported > 0 ? reported : exposureSeconds,
    startedUtcMs: parseUtcMs(started.start),
  };
}

/** A camera that is busy or at fault may take the next one; what the interface itself forbids it never will. */
async function startExposure(
  device: AlpacaDevice,
  request: { readonly Duration: number; readonly Light: boolean },
  signal: AbortSignal,
): Promise<void> {
  try {
    await device.put("startexposure", request, signal);
  } catch (error) {
    const mayPass =
      (error instanceof HttpStatusError && error.status >= 500) ||
      (error instanceof AscomError &&
        (error.errorNumber === ascom.invalidOperation || error.errorNumber >= ascom.driverErrorsFrom));
    if (!mayPass) throw error;
    const said = error.message.slice(`${device.name}: `.length);
    throw new ExposureFailedError(device.name, said, { cause: error });
  }
}

/** Silence in the middle of an exposure is no failure of the exposure: the end decides. */
async function checkOnItsWay({ device, log }: RoleTools, signal: AbortSignal): Promise<void> {
  try {
    await checkNotFailed(device, true, signal);
  } catch (error) {
    signal.throwIfAborted();
    if (!isSilence(error)) throw error;
    log.warn({ device: device.name, error: String(error) }, "no answer during the exposure");
  }
}

/** @param idleIsLost whether a camera at rest must have forgotten the exposure */
async function checkNotFailed(device: AlpacaDevice, idleIsLost: boolean, signal: AbortSignal): Promise<void> {
  const state = await device.get("camerastate", number, signal);
  if (state === cameraState.error)
    throw new ExposureFailedError(device.name, "the exposure failed (camera state 5)");
  if (!idleIsLost || state !== cameraState.idle) return;
  if (await device.get("imageready", flag, signal)) return;
  throw new ExposureFailedError(device.name, "the camera is idle and has no image: the exposure is lost");
}

/** Before the first image there is none to tell of: an error then, not an absence. */
async function unlessNow<T>(reading: Promise<T>): Promise<T | undefined> {
  try {
    return await reading;
  } catch (error) {
    if (error instanceof AscomError && error.errorNumber !== ascom.invalidValue) return undefined;
    throw error;
  }
}

function lastStart(device: AlpacaDevice, signal: AbortSignal): Promise<string | undefined> {
  return unlessNow(device.optional("lastexposurestarttime", text, signal));
}

/**
 * Ends what the camera is exposing and waits until it is idle. Safe in any state.
 * @returns whether there was something to end
 * @throws DeadlineError if it does not come to rest
 */
export async function stopExposing(
  { device, log }: RoleTools,
  facts: Pick<CameraFacts, "canAbort" | "canStop">,
  longestSeconds: number,
  signal: AbortSignal,
): Promise<boolean> {
  const state = await device.get("camerastate", number, signal);
  if (state === cameraState.idle || state === cameraState.error) return false;
  let waitSeconds = stopSeconds;
  if (facts.canAbort || facts.canStop) {
    await device
      .put(facts.canAbort ? "abortexposure" : "stopexposure", {}, signal, { urgent: true })
      .catch((error: unknown) => {
        // Refused while the image is read out: that ends by itself.
        if (!(error instanceof AscomError)) throw error;
      });
  } else {
    log.warn({ device: device.name }, "this camera cannot abort; its exposure is waited for");
    waitSeconds += longestSeconds;
  }
  await device.until(
    "the camera's rest",
    { withinSeconds: waitSeconds, precisionSeconds: 0.1 },
    async (abort) => {
      const now = await device.get("camerastate", number, abort);
      return now === cameraState.idle || now === cameraState.error ? true : undefined;
    },
    signal,
  );
  return true;
}
