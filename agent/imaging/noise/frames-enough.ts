import type { GrowthPoint } from "./noise-growth.ts";

/** What a flat is for. */
export interface StackPurpose {
  /** Images that will be divided by it and averaged. */
  readonly imagesToStack: number;
  /** Light of an image over that of a flat frame, at the same place and gain. */
  readonly imageOverFlatLevel: number;
}

export interface StackRequest extends StackPurpose {
  /** By how much the stack may be noisier than with a perfect flat; 0.1 is 10 %. */
  readonly addedNoiseFraction: number;
}

/** What a number of frames buys. */
export interface NoiseBudget {
  readonly frames: number;
  readonly imagesToStack: number;
  /** Of the flat, a share of the level. */
  readonly flatNoise: number;
  /** Of the stack with a perfect flat, and with this one. */
  readonly stackNoisePerfect: number;
  readonly stackNoise: number;
  /** The latter over the former, less 1. */
  readonly addedNoiseFraction: number;
}

/**
 * Frames of a flat after which a stack is noisier by no more than asked. Noise of a single image is that of a flat frame
 * by photon statistics; every point of the Sun stays on one pixel, which is the worst case.
 * Source: variances of independent means add; photon noise goes with the root of the light.
 */
export function framesEnough({
  imagesToStack,
  addedNoiseFraction,
  imageOverFlatLevel,
}: StackRequest): number {
  return Math.ceil((imagesToStack * imageOverFlatLevel) / ((1 + addedNoiseFraction) ** 2 - 1) - 1e-9);
}

/**
 * Points of the sky that wander over the pixels fare better than this.
 * @param singleNoise of one flat frame, a share of the level
 * @param flatNoise of the flat itself where it was measured; else that of so many frames
 */
export function computeNoiseBudget(
  frames: number,
  singleNoise: number,
  { imagesToStack, imageOverFlatLevel }: StackPurpose,
  flatNoise = singleNoise / Math.sqrt(frames),
): NoiseBudget {
  const stackNoisePerfect = singleNoise / Math.sqrt(imageOverFlatLevel * imagesToStack);
  const stackNoise = Math.hypot(stackNoisePerfect, flatNoise);
  return {
    frames,
    imagesToStack,
    flatNoise,
    stackNoisePerfect,
    stackNoise,
    addedNoiseFraction: stackNoise / stackNoisePerfect - 1,
  };
}

/** Points of fewer frames know their own noise too badly to decide by. */
const trustedFrames = 12;

/**
 * Whether a series is long enough, from the noise that its even and odd frames show: it goes on when the noise falls more
 * slowly than single frames promise.
 */
export function isNoiseReached(growth: readonly GrowthPoint[], asked: StackRequest): boolean {
  const last = growth.at(-1);
  if (last === undefined || last.frames < trustedFrames) return false;
  const single = last.expected * Math.sqrt(last.frames);
  // The measured one scatters by a few per cent: it counts once it says clearly more.
  const flatNoise = last.measured > 1.05 * last.expected ? last.measured : last.expected;
  return (
    computeNoiseBudget(last.frames, single, asked, flatNoise).addedNoiseFraction <= asked.addedNoiseFraction
  );
}
