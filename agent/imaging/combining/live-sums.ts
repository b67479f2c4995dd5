import { bytesOf } from "../kernels/bytes-of.ts";
import { compiledKernel } from "../kernels/compile-kernel.ts";
import { lookUp, type tabulate } from "../noise/noise-by-level.ts";

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
   * Turns spreads of pixels, which lie where their limits will, into these: 5 sigma, the wider one of what peers of the
   * level show and what the pixel itself shows. An unsteady pixel is no outlier to itself.
   * @param sigmas a table of what peers show
   */
  setLimits(sigmas: ReturnType<typeof tabulate>, fromPx: number, toPx: number): void;
}

/** Beyond this many sigma of its pixel a sample is an outlier. */
const rejectSigma = 5;
/** Where nothing scatters at all [adu]. */
const sigmaLeast = 1e-3;

export type MakeSums = (pxCount: number, withDark: boolean) => LiveSums;

/** In plain TypeScript, every step in float32: what the compiled one is held to, and what works without a compiler. */
export const plainSums: MakeSums = (pxCount, withDark) => {
  const reals = () => new Float32Array(pxCount);
  const counts = () => new Uint16Array(pxCount);
  const dark = withDark ? reals() : undefined;
  const [reference, limit, sum, squares] = [reals(), reals(), reals(), reals()];
  const [rejected, clipped] = [counts(), counts()];
  const noDark = new Float32Array(1);
  return {
    ...{ dark, reference, limit, sum, squares, rejected, clipped },
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
};

/** Pixels of a frame that pass through the kernel's memory at once: those of all frames stay in the cache. */
const piecePx = 512;
/** Room for a table of sigmas. */
const sigmasMost = 4096;

/** By SIMD in WebAssembly; everything but the frames stays in its memory. @returns `undefined` where there is no compiler */
export function compiledSums(): MakeSums | undefined {
  const module = compiledKernel("live-sums");
  if (module === undefined) return undefined;
  return (pxCount, withDark) => {
    let free = 64;
    const take = (bytes: number) => {
      const address = free;
      free += Math.ceil(bytes / 64) * 64 + 64; // not all of them at one place of the cache
      return address;
    };
    const padded = Math.ceil(pxCount / 8) * 8;
    const frameBytes = 2 * piecePx + 64;
    const at = {
      factors: take(4 * framesAtOnce),
      frames: take(framesAtOnce * frameBytes),
      dark: take(withDark ? 4 * padded : 32),
      reference: take(4 * padded),
      limit: take(4 * padded),
      sum: take(4 * padded),
      squares: take(4 * padded),
      rejected: take(2 * padded),
      clipped: take(2 * padded),
      sigmas: take(4 * sigmasMost),
    };
    const memory = new WebAssembly.Memory({ initial: Math.ceil(free / 65_536) });
    const { buffer } = memory;
    const kernel = new WebAssembly.Instance(module, { env: { memory } }).exports as unknown as {
      addFrames(...numbers: number[]): void;
      setLimits(...numbers: number[]): void;
    };
    const factors = new Float32Array(buffer, at.factors, framesAtOnce);
    const whole = bytesOf(new Uint8Array(buffer));
    const reals = (address: number) => new Float32Array(buffer, address, pxCount);
    const counts = (address: number) => new Uint16Array(buffer, address, pxCount);
    return {
      dark: withDark ? reals(at.dark) : undefined,
      reference: reals(at.reference),
      limit: reals(at.limit),
      sum: reals(at.sum),
      squares: reals(at.squares),
      rejected: counts(at.rejected),
      clipped: counts(at.clipped),
      add(frames, clipAdu, fromPx, toPx) {
        if (frames.length > framesAtOnce) throw new RangeError(`${frames.length} frames in one pass`);
        factors.set(frames.map(({ scale }) => 1 / scale));
        const clip = Math.min(65_536, Math.ceil(clipAdu));
        const n = frames.length;
        const bytes = frames.map(({ pixels }) => bytesOf(pixels));
        for (let start = fromPx; start < toPx; start += piecePx) {
          const end = Math.min(start + piecePx, toPx);
          for (let k = 0; k < n; k++) bytes[k]!.copy(whole, at.frames + k * frameBytes, 2 * start, 2 * end);
          const reals = 4 * start;
          const counts = 2 * start;
          kernel.addFrames(
            at.frames,
            frameBytes,
            at.factors,
            n,
            clip,
            Math.ceil((end - start) / 8) * 8,
            withDark ? at.dark + reals : at.dark,
            withDark ? 4 : 0,
            at.reference + reals,
            at.limit + reals,
            at.sum + reals,
            at.squares + reals,
            at.rejected + counts,
            at.clipped + counts,
          );
        }
      },
      setLimits({ variances: sigmas, stepAdu, below }, fromPx, toPx) {
        new Float32Array(buffer, at.sigmas, sigmasMost).set(sigmas);
        kernel.setLimits(
          ...[at.limit + 4 * fromPx, at.reference + 4 * fromPx, Math.ceil((toPx - fromPx) / 4) * 4],
          ...[at.sigmas, stepAdu, below, sigmas.length - 1, rejectSigma, sigmaLeast],
        );
      },
    };
  };
}

let made: MakeSums | undefined;

/** Made at first use. */
export const liveSums: MakeSums = (pxCount, withDark) => {
  made ??= compiledSums() ?? plainSums;
  return made(pxCount, withDark);
};
