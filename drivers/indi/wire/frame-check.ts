import type { ReceivedFrame } from "./frame-from-blob.ts";

export interface FrameAsked {
  readonly exposureSeconds: number;
  /** Bias frames get the camera's shortest time whatever is asked. */
  readonly exposureCounts: boolean;
  readonly requestedUtcMs: number;
  /** Binned. */
  readonly widthPx: number;
  readonly heightPx: number;
}

/** Cameras round a region to multiples of up to this [px], unbinned or binned. */
const roundingPx = 16;
/** Camera and agent may run on two machines whose clocks agree to this [s]. */
const clockSeconds = 2;

/**
 * Tells this request's frame from an older one. The order on the wire decides first (a BLOB counts only after this
 * request's Busy); this is for cameras that ignore an abort and deliver the old frame later, under the new request.
 * A camera that repeats its oddity in a fresh attempt is believed.
 */
export class FrameCheck {
  /** Camera's clock minus ours, from the last good frame. */
  #clockOffsetMs: number | undefined;
  #lastStartedUtcMs = Number.NEGATIVE_INFINITY;
  #doubted: { exposureSeconds?: number; offsetMs?: number } = {};

  /** @returns what is wrong with it, `undefined` if it is this request's frame */
  problem(frame: ReceivedFrame, asked: FrameAsked): string | undefined {
    const off = Math.max(Math.abs(frame.widthPx - asked.widthPx), Math.abs(frame.heightPx - asked.heightPx));
    if (off > roundingPx) {
      return `it is ${frame.widthPx} x ${frame.heightPx} px, not ${asked.widthPx} x ${asked.heightPx}`;
    }
    return this.#exposureProblem(frame, asked) ?? this.#startProblem(frame, asked);
  }

  #exposureProblem({ exposureSeconds }: ReceivedFrame, asked: FrameAsked): string | undefined {
    if (exposureSeconds === undefined || !asked.exposureCounts) return undefined;
    const off = Math.abs(exposureSeconds - asked.exposureSeconds);
    if (off <= Math.max(0.005, 0.05 * asked.exposureSeconds)) return undefined;
    if (this.#doubted.exposureSeconds === exposureSeconds) return undefined; // the camera's own truth
    this.#doubted.exposureSeconds = exposureSeconds;
    return `it was exposed ${exposureSeconds} s, not ${asked.exposureSeconds} s`;
  }

  #startProblem({ startedUtcMs }: ReceivedFrame, { requestedUtcMs }: FrameAsked): string | undefined {
    if (startedUtcMs === undefined) return undefined;
    // Whole seconds prove nothing: some cameras write no more, and two short frames fit into one.
    if (startedUtcMs === this.#lastStartedUtcMs && startedUtcMs % 1000 !== 0)
      return "it is the frame before, once more";
    const offsetMs = startedUtcMs - requestedUtcMs;
    const early = offsetMs - (this.#clockOffsetMs ?? 0) < -clockSeconds * 1000;
    const repeated =
      this.#doubted.offsetMs !== undefined &&
      Math.abs(offsetMs - this.#doubted.offsetMs) < clockSeconds * 1000;
    if (early && !repeated) {
      this.#doubted.offsetMs = offsetMs;
      return `it began ${(-offsetMs / 1000).toFixed(1)} s before it was asked for`;
    }
    this.#clockOffsetMs = offsetMs;
    this.#lastStartedUtcMs = startedUtcMs;
    return undefined;
  }
}
