import { DeadlineError, ReadbackError } from "../../kit/errors.ts";
import { given } from "../../kit/given.ts";
import type { Frame, FrameType, Region } from "../../roles/camera.ts";
import type { RoleTools } from "../session/indi-role.ts";
import type { IndiBlob } from "../wire/blob.ts";
import { FrameFormatError } from "../wire/errors.ts";
import type { FrameCheck } from "../wire/frame-check.ts";
import {
  frameFromBlob,
  type ReceivedFrame,
  UnreadableFrameError,
  UnsuitableFormatError,
} from "../wire/frame-from-blob.ts";
import { exposeOnce } from "./camera-exposure.ts";

export interface FrameRequest {
  readonly exposureSeconds: number;
  readonly frameType: FrameType;
  /** In force; what the camera does not have is `undefined`. */
  readonly gain: number | undefined;
  readonly offset: number | undefined;
  readonly binning: number;
  readonly region: Region;
  readonly readoutSeconds: number;
  readonly imageProperty: string;
  readonly ordered: boolean;
}

/**
 * One exposure and its frame, told apart from older frames and read.
 * @throws FrameFormatError at once for a form that is not read; ReadbackError if frames came and none was the one asked for; else as `exposeOnce`
 */
export async function takeFrame(
  tools: RoleTools,
  request: FrameRequest,
  check: FrameCheck,
  signal: AbortSignal,
): Promise<Frame> {
  const { device, clock, log } = tools;
  const { exposureSeconds, frameType, binning, region, readoutSeconds, ordered } = request;
  const requestedUtcMs = clock.nowMs();
  const asked = {
    exposureSeconds,
    exposureCounts: frameType !== "bias",
    requestedUtcMs,
    widthPx: Math.floor(region.widthPx / binning),
    heightPx: Math.floor(region.heightPx / binning),
  };
  let received: ReceivedFrame | undefined;
  let problem: string | undefined;
  const hopeless = new AbortController();
  const accept = (blob: IndiBlob): boolean => {
    if (blob.bytes.length === 0) return false; // a state change without data
    try {
      received = frameFromBlob(blob, asked);
      problem = check.problem(received, asked);
    } catch (error) {
      if (!(error instanceof UnreadableFrameError)) throw error;
      problem = error.message;
      if (error instanceof UnsuitableFormatError)
        hopeless.abort(new FrameFormatError(device.name, problem, { cause: error }));
    }
    if (problem !== undefined) log.warn({ device: device.name, problem }, "a frame was dropped");
    return problem === undefined;
  };
  const route = { blobProperty: request.imageProperty, ordered, accept };
  try {
    await exposeOnce(
      tools,
      { exposureSeconds, readoutSeconds, ...route },
      AbortSignal.any([signal, hopeless.signal]),
    );
  } catch (error) {
    if (problem === undefined || !(error instanceof DeadlineError)) throw error;
    const wanted = `${asked.widthPx} x ${asked.heightPx} px, ${exposureSeconds} s`;
    throw new ReadbackError(device.name, "frame", wanted, problem);
  }
  if (!received) throw new DeadlineError(device.name, "the image", readoutSeconds);
  return asFrame(received, request, requestedUtcMs, tools);
}

function asFrame(
  received: ReceivedFrame,
  request: FrameRequest,
  requestedUtcMs: number,
  { device, log }: RoleTools,
): Frame {
  const { gain, frameType } = request;
  if (gain !== undefined && received.gain !== undefined && Math.abs(received.gain - gain) >= 0.5) {
    // The card is in a unit of its own with some drivers, so the difference is told and not judged.
    log.warn({ device: device.name, gain, cardGain: received.gain }, "the header states another gain");
  }
  return {
    pixelsAdu: received.pixelsAdu,
    widthPx: received.widthPx,
    heightPx: received.heightPx,
    exposureSeconds: received.exposureSeconds ?? request.exposureSeconds,
    startedUtcMs: received.startedUtcMs ?? requestedUtcMs,
    frameType,
    ...given({
      gain: gain ?? received.gain,
      offset: request.offset ?? received.offset,
      sensorCelsius: received.sensorCelsius,
    }),
  };
}
