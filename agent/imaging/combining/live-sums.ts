import { lookUp, type tabulate } from "../noise/noise-by-level.ts";
import { compiledSums } from "./compiled-sums.ts";
import { plainStatistics } from "./first-frames.ts";

export interface LiveFrame {
  readonly pixels: Uint16Array;
  readonly scale: number;
}

/** Most frames that one pass takes: what is kept of a pixel is read and written once for all of them. */
export const framesAtOnce = 12;

/**
 * What a series keeps of each pixel: sums of what its samples exceed a reference by, so that float32 carries them.
 * A sample at or above `clipAdu` counts as clipped, one further from the reference than its limit as rejected.
 */
export interface LiveSums {
  /** Taken off every sample; `undefined` for none. */
  readonly dark: Float32Array | undefined;
  readonly reference: Float32Array;
  readonly limit: Float32Array;
  readonly sum: Float32Array;
  readonly squares: Float32Array;
  readonly rejected: Uint16Array;
  readonly clipped: Uint16Array;
  /**
   * Adds frames on a run of pixels. Several at once cost little more than one, since the sums pass by once for all.
   * @param fromPx a multiple of 8
   */
  add(frames: readonly LiveFrame[], clipAdu: number, fromPx: number, toPx: number): void;
  /**
   * Adds the first frames on a run of pixels, which get median and limit from them before.
   * @param sigmas as for `setLimits`
   */
  begin(
    frames: readonly LiveFrame[],
    clipAdu: number,
    sigmas: ReturnType<typeof tabulate>,
    fromPx: number,
    toPx: number,
  ): void;
  /**
   * Turns spreads of pixels, which lie where their limits will, into these: 5 sigma, the wider one of what peers of the
   * level show and what the pixel itself shows. An unsteady pixel is no outlier to itself.
   * @param sigmas a table of what peers show
   */
  setLimits(sigmas: ReturnType<typeof tabulate>, fromPx: number, toPx: number): void;
}

/** Beyond this many sigma of its pixel a sample is an outlier. */
export const rejectSigma = 5;
/** Where nothing scatters at all [adu]. */
export const sigmaLeast = 1e-3;

export type MakeSums = (pxCount: number, withDark: boolean) => LiveSums;

/** In plain TypeScript, every step in float32: what the compiled one is held to, and what works without a compiler. */
export const plainSums: MakeSums = (pxCount, withDark) => {
  const reals = () => new Float32Array(pxCount);
  const counts = () => new Uint16Array(pxCount);
  const dark = withDark ? reals() : undefined;
  const [reference, limit, sum, squares] = [reals(), reals(), reals(), reals()];
  const [rejected, clipped] = [counts(), counts()];
  const noDark = new Float32Array(1);
  const plain: LiveSums = {
    ...{ dark, reference, limit, sum, squares, rejected, clipped },
    begin(frames, clipAdu, sigmas, fromPx, toPx) {
      const parts = frames.map(({ pixels, scale }) => ({ pixels: pixels.subarray(fromPx, toPx), scale }));
      const darks = dark?.subarray(fromPx, toPx) ?? new Float32Array(toPx - fromPx);
      const { medians, spreads } = plainStatistics(parts, darks, clipAdu);
      reference.set(medians, fromPx);
      limit.set(spreads, fromPx);
      plain.setLimits(sigmas, fromPx, toPx);
      plain.add(frames, clipAdu, fromPx, toPx);
    },
    add(frames, clipAdu, fromPx, toPx) {
      const factors = Float32Array.from(frames, ({ scale }) => 1 / scale);
      const [darks, darkStep] = dark ? [dark, 1] : [noDark, 0];
      for (let i = fromPx; i < toPx; i++) {
        const most = Math.fround(limit[i]! * limit[i]!);
        let [total, square] = [0, 0];
        for (let f = 0; f < frames.length; f++) {
          const raw = frames[f]!.pixels[i]!;
          if (raw >= clipAdu) {
            clipped[i]!++;
            continue;
          }
          const light = Math.fround(Math.fround(raw - darks[i * darkStep]!) * factors[f]!);
          const d = Math.fround(light - reference[i]!);
          const q = Math.fround(d * d);
          if (q <= most) {
            total = Math.fround(total + d);
            square = Math.fround(square + q);
          } else rejected[i]!++;
        }
        sum[i]! += total;
        squares[i]! += square;
      }
    },
    setLimits(sigmas, fromPx, toPx) {
      for (let i = fromPx; i < toPx; i++)
        limit[i] = rejectSigma * Math.max(lookUp(sigmas, reference[i]!), limit[i]!, Math.fround(sigmaLeast));
    },
  };
  return plain;
};

let made: MakeSums | undefined;

/** Made at first use. */
export const liveSums: MakeSums = (pxCount, withDark) => {
  made ??= compiledSums() ?? plainSums;
  return made(pxCount, withDark);
};
