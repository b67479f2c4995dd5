import { OutOfLimitsError } from "../kit/errors.ts";
import type { Camera, ExposureRequest, Frame } from "./camera.ts";

/** First try, once more after an abort, once more after disconnecting and connecting. */
export const exposureAttemptsMax = 3;

/** The request with the time that will be asked of the camera: a bias is its shortest. @throws OutOfLimitsError */
export function allowedExposure(
  camera: Pick<Camera, "name" | "limits">,
  { exposureSeconds: asked, frameType }: ExposureRequest,
): ExposureRequest {
  const { min, max } = camera.limits.exposureSeconds;
  const exposureSeconds = frameType === "bias" ? min : asked;
  if (exposureSeconds >= min && exposureSeconds <= max) return { exposureSeconds, frameType };
  throw new OutOfLimitsError(camera.name, "exposure", exposureSeconds, `${min} to ${max} s`);
}

/** @param recover makes the camera ready for another attempt, or throws */
export async function retryExposure(
  attempt: () => Promise<Frame>,
  recover: (error: unknown, attempt: number) => Promise<void>,
): Promise<Frame> {
  for (let number = 1; ; number++) {
    try {
      return await attempt();
    } catch (error) {
      await recover(error, number);
    }
  }
}
