import type { Clock } from "../kit/clock.ts";
import {
  DeadlineError,
  DeviceLostError,
  OutOfLimitsError,
  ReadbackError,
  RefusedError,
} from "../kit/errors.ts";
import type { Log } from "../kit/log.ts";
import type { Camera, ExposureRequest, Frame } from "./camera.ts";

/** First try, once more after an abort, once more after disconnecting and connecting. */
export const exposureAttemptsMax = 3;

/** A hiccup of a cable or a driver is over in so long, times the attempt [s]. */
const pauseSeconds = 1;

/** The camera itself says that an exposure failed, or forgot it: with a cable that had a hiccup the next one does not. */
export class ExposureFailedError extends RefusedError {}

/** What is the same on every link: the exposure was lost on its way, whoever says so. */
export function isExposureLost(error: unknown): boolean {
  return (
    error instanceof DeviceLostError ||
    error instanceof DeadlineError ||
    error instanceof ReadbackError ||
    error instanceof ExposureFailedError
  );
}

/** The request with the time that will be asked of the camera: a bias is its shortest. @throws OutOfLimitsError */
function allowedExposure(
  { name, limits }: Pick<Camera, "name" | "limits">,
  { exposureSeconds: asked, frameType }: ExposureRequest,
): ExposureRequest {
  const { min, max } = limits.exposureSeconds;
  const exposureSeconds = frameType === "bias" ? min : asked;
  if (exposureSeconds >= min && exposureSeconds <= max) return { exposureSeconds, frameType };
  throw new OutOfLimitsError(name, "exposure", exposureSeconds, `${min} to ${max} s`);
}

/** How a camera takes one exposure, and what it does after one that failed. */
export interface ExposureWays {
  ready(): Promise<void>;
  expose(request: ExposureRequest): Promise<Frame>;
  mayRepeat(error: unknown): boolean;
  /** Stops what is under way; how it fails is only logged. */
  makeIdle(error: unknown, attempt: number): Promise<void>;
  /** Before another attempt. */
  reconnect?(error: unknown, attempt: number): Promise<void>;
}

/** @throws OutOfLimitsError before anything happens; the last attempt's error, and the signal's reason after stopping */
export async function exposeWithRetries(
  camera: Pick<Camera, "name" | "limits">,
  { log, clock }: { readonly log: Log; readonly clock: Clock },
  request: ExposureRequest,
  ways: ExposureWays,
  signal: AbortSignal,
): Promise<Frame> {
  const { name: device } = camera;
  await ways.ready();
  const allowed = allowedExposure(camera, request);
  for (let attempt = 1; ; attempt++) {
    try {
      await ways.ready();
      return await ways.expose(allowed);
    } catch (error) {
      await ways.makeIdle(error, attempt).catch((stopError: unknown) => {
        log.error({ device, error: String(stopError) }, "the camera could not be made idle");
      });
      signal.throwIfAborted();
      if (!ways.mayRepeat(error) || attempt >= exposureAttemptsMax) throw error;
      log.warn({ device, attempt, error: String(error) }, "the exposure is taken once more");
      await clock.sleep(attempt * pauseSeconds, signal);
      await ways.reconnect?.(error, attempt);
    }
  }
}
