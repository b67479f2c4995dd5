import { maskBits } from "../combining/mask-bits.ts";
import type { Flat } from "../combining/normalise-flat.ts";
import { gaussianBlur } from "../numerics/gaussian-blur.ts";
import type { Counts, Problem } from "./problem.ts";
import { varianceFactor } from "./separation.ts";
import type { Slope } from "./slope.ts";

/** Frames' worth of neighbours' noise that is mixed into each pixel's own estimate of it. */
const neighbourFrames = 30;
const neighbourSigmaPx = 12;

/**
 * The flat g = exp(G) with its sigma: noise of a frame from what the solution left, over the number of frames that saw
 * the pixel, larger in modes that are hard to tell from the Sun, the Sun's own structure that stays, and the uncertainty
 * of the plane. Pauses between its steps.
 * @param unseparated rms of that structure, share of the gain
 * @param squareSum Σ of squared residuals for each pixel
 */
export function* flatFromGain(from: {
  readonly problem: Problem;
  readonly gain: Float32Array;
  readonly counts: Counts;
  readonly squareSum: Float32Array;
  readonly slope: Slope;
  readonly unseparated: number;
  readonly levelAdu: number;
}): Generator<void, Flat> {
  const { problem, counts, squareSum, slope } = from;
  const { shape, frames, shifts, ridge } = problem;
  const { widthPx, heightPx } = shape;
  const pxCount = widthPx * heightPx;
  const mask = new Uint8Array(pxCount);
  const lit = new Uint8Array(pxCount);
  const framesSeen = counts.gain;
  let values = 0;
  for (let i = 0; i < pxCount; i++) {
    values += framesSeen[i]!;
    if (framesSeen[i]! < 1) mask[i] = maskBits.unlit;
    else if (framesSeen[i]! < 3) mask[i] = maskBits.rejected;
    else lit[i] = 1;
  }
  const objectPx = counts.object.reduce((sum, count) => sum + (count > 0.5 ? 1 : 0), 0);
  // Unknowns solved for take as many residuals down to nothing.
  const freedom = Math.max(0.1, 1 - (pxCount + objectPx) / Math.max(1, values));
  const variance = new Float32Array(pxCount);
  for (let i = 0; i < pxCount; i++)
    if (lit[i] === 1) variance[i] = squareSum[i]! / (framesSeen[i]! * freedom);
  yield;
  const neighbours = gaussianBlur(variance, shape, neighbourSigmaPx, lit);
  const factor = varianceFactor(
    frames.map((frameIndex) => shifts[frameIndex]!),
    shape,
    ridge,
  );
  yield;
  const gain = new Float32Array(pxCount);
  const sigma = new Float32Array(pxCount);
  let [sum, count] = [0, 0];
  for (let y = 0; y < heightPx; y++) {
    const fromMiddleY = y - (heightPx - 1) / 2;
    for (let x = 0; x < widthPx; x++) {
      const i = y * widthPx + x;
      const fromMiddleX = x - (widthPx - 1) / 2;
      gain[i] =
        mask[i] === maskBits.unlit
          ? 1
          : Math.exp(from.gain[i]! + slope.x * fromMiddleX + slope.y * fromMiddleY);
      const n = framesSeen[i]!;
      const own = (n * variance[i]! + neighbourFrames * neighbours[i]!) / (n + neighbourFrames);
      const plane = (slope.xSigma * fromMiddleX) ** 2 + (slope.ySigma * fromMiddleY) ** 2;
      sigma[i] = gain[i]! * Math.sqrt((own * factor) / Math.max(1, n) + plane + from.unseparated ** 2);
      if (lit[i] !== 1) continue;
      sum += gain[i]!;
      count++;
    }
  }
  const mean = count > 0 ? sum / count : 1;
  for (let i = 0; i < pxCount; i++) {
    if (mask[i] === maskBits.unlit) continue;
    gain[i]! /= mean;
    sigma[i]! /= mean;
  }
  return { shape, gain, sigma, mask, levelAdu: from.levelAdu * mean };
}
