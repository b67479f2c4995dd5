import { measureBlockLevels, type SkyObservation } from "../../../../agent/imaging/defocus/look-levels.ts";
import type { Random } from "../../../../drivers/kit/random.ts";

export const shape = { widthPx: 160, heightPx: 128 };
export const pxCount = shape.widthPx * shape.heightPx;
export const middle = { x: 79.5, y: 63.5 };
const pedestalAdu = 100;
const levelAdu = 30_000;
export const pixelSigma = 0.004;

/** A rig that no smooth surface describes: vignetting, a gradient, pixels that differ by 1 %. */
export function rigGain(random: Random): Float32Array {
  return Float32Array.from({ length: pxCount }, (_, i) => {
    const [x, y] = [(i % shape.widthPx) - middle.x, Math.floor(i / shape.widthPx) - middle.y];
    return (1 - 1e-5 * (x * x + y * y) + 2e-4 * x) * (1 + 0.01 * random.gauss());
  });
}

/** Two frames of a look: the light's logarithm is a function of the place on the sky. */
export function lookAt(
  random: Random,
  gain: Float32Array,
  logLight: (x: number, y: number) => number,
  at: {
    readonly shift: { readonly x: number; readonly y: number };
    readonly utcMs: number;
    readonly logLevel?: number;
  },
): SkyObservation {
  const frames = [0, 1].map(() =>
    Uint16Array.from(gain, (g, i) => {
      const [x, y] = [(i % shape.widthPx) - at.shift.x, Math.floor(i / shape.widthPx) - at.shift.y];
      const level = levelAdu * g * Math.exp(logLight(x, y) + (at.logLevel ?? 0));
      return Math.round(pedestalAdu + level * (1 + pixelSigma * random.gauss()));
    }),
  );
  const dark = new Float32Array(pxCount).fill(pedestalAdu);
  const levels = measureBlockLevels(frames, dark, new Uint8Array(pxCount).fill(1), shape);
  return { ...levels, shift: at.shift, utcMs: at.utcMs };
}
