import type { AppliedCounts } from "../../imaging/combining/apply.ts";
import type { Calibration } from "../flat-file.ts";
import type { FrameSource } from "../frame-source.ts";
import { calibrateImage, SharedArrays } from "./calibrate.ts";
import type { SequenceResult } from "./sequence-result.ts";

/** Frames of a sequence one at a time, calibrated and as they will lie in the result. Buffers are used again. */
export class CalibratedFrames {
  readonly #raw: Uint8Array<ArrayBuffer>;
  readonly #arrays = new SharedArrays();
  readonly #encoded: Uint8Array;

  constructor(
    readonly source: FrameSource,
    readonly result: SequenceResult,
    readonly calibration: Calibration,
  ) {
    this.#raw = new Uint8Array(source.frameBytes);
    this.#encoded = new Uint8Array(result.frameBytes);
  }

  /** @returns the frame as captured, until the next call of either */
  load(frameIndex: number): Uint8Array {
    this.source.readRaw(frameIndex, this.#raw);
    return this.#raw;
  }

  /** What the frame last loaded becomes. @returns its bytes, until the next call */
  develop(): { readonly bytes: Uint8Array; readonly counts: AppliedCounts; readonly pedestalAdu: number } {
    const { as, countMax } = this.result;
    const { pixels, counts, pedestalAdu } = calibrateImage(
      this.source.decode(this.#raw),
      as,
      this.calibration,
      this.#arrays,
    );
    const held = pixels instanceof Uint16Array && countMax < 65_535 ? holdAt(pixels, countMax) : 0;
    const bytes = this.result.encode(pixels, this.#encoded);
    return { bytes, counts: { ...counts, clampedPx: counts.clampedPx + held }, pedestalAdu };
  }
}

/** @returns how many were above, but for those that were held at 65535 and counted before */
function holdAt(pixels: Uint16Array, countMax: number): number {
  let held = 0;
  for (let i = 0; i < pixels.length; i++) {
    if (pixels[i]! <= countMax) continue;
    if (pixels[i]! < 65_535) held++;
    pixels[i] = countMax;
  }
  return held;
}
