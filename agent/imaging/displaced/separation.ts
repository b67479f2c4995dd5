import type { ShiftPx } from "./object-grid.ts";

/**
 * |S|² = |Σ exp(-i k·a)|² / N²: how far a mode of the gain looks the same in all frames. 0: told apart from the Sun
 * completely, 1: not at all. Alternating sweeps damp the error of a mode by this factor each.
 * @param waves per pixel, in x and in y
 */
export function unseparatedShare(shifts: readonly ShiftPx[], wavesX: number, wavesY: number): number {
  let [re, im] = [0, 0];
  for (const { x, y } of shifts) {
    const phase = 2 * Math.PI * (wavesX * x + wavesY * y);
    re += Math.cos(phase);
    im += Math.sin(phase);
  }
  return (re * re + im * im) / shifts.length ** 2;
}

/** Modes of up to this many waves across the frame are summed one by one. */
const slowWavesMost = 24;

/**
 * How much more variance the solved gain has than a plain mean of as many frames of a known Sun: the mean over all
 * modes of 1 / (1 - |S|² + ridge / N). Beyond the slow modes |S|² is 1/N on average.
 */
export function varianceFactor(
  shifts: readonly ShiftPx[],
  shape: { readonly widthPx: number; readonly heightPx: number },
  ridge: number,
): number {
  const n = shifts.length;
  const usual = 1 / (1 - 1 / n + ridge / n);
  let extra = 0;
  for (let u = -slowWavesMost; u <= slowWavesMost; u++) {
    for (let v = -slowWavesMost; v <= slowWavesMost; v++) {
      if (u === 0 && v === 0) continue; // the mean is set to 1 afterwards
      const share = unseparatedShare(shifts, u / shape.widthPx, v / shape.heightPx);
      extra += 1 / (1 - share + ridge / n) - usual;
    }
  }
  return usual + Math.max(0, extra / (shape.widthPx * shape.heightPx));
}
