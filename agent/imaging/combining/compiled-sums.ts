import { bytesOf } from "../kernels/bytes-of.ts";
import { compiledKernel } from "../kernels/compile-kernel.ts";
import type { tabulate } from "../noise/noise-by-level.ts";
import { pixelByPixel, statisticsIn } from "./first-frames.ts";
import { framesAtOnce, type LiveFrame, type MakeSums, rejectSigma, sigmaLeast } from "./live-sums.ts";

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
      values: take(16 * framesAtOnce),
      /** Zeros where there is none. */
      dark: take(4 * (withDark ? padded : piecePx)),
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
    const statistics = statisticsIn(memory)!;
    const factors = new Float32Array(buffer, at.factors, framesAtOnce);
    const whole = bytesOf(new Uint8Array(buffer));
    const reals = (address: number) => new Float32Array(buffer, address, pxCount);
    const counts = (address: number) => new Uint16Array(buffer, address, pxCount);
    const [dark, reference, limit] = [
      withDark ? reals(at.dark) : undefined,
      reals(at.reference),
      reals(at.limit),
    ];
    const darkOf = (px: number) => (withDark ? at.dark + 4 * px : at.dark);
    const clipOf = (clipAdu: number) => Math.min(65_536, Math.ceil(clipAdu));

    /** Piece by piece: a piece of each frame lies in the kernel's memory when `work` is called. */
    function inPieces(
      frames: readonly LiveFrame[],
      fromPx: number,
      toPx: number,
      work: (start: number, end: number) => void,
    ): void {
      if (frames.length > framesAtOnce) throw new RangeError(`${frames.length} frames in one pass`);
      factors.set(frames.map(({ scale }) => 1 / scale));
      const bytes = frames.map(({ pixels }) => bytesOf(pixels));
      for (let start = fromPx; start < toPx; start += piecePx) {
        const end = Math.min(start + piecePx, toPx);
        for (let k = 0; k < bytes.length; k++)
          bytes[k]!.copy(whole, at.frames + k * frameBytes, 2 * start, 2 * end);
        work(start, end);
      }
    }

    function addPiece(frameCount: number, clip: number, start: number, end: number): void {
      kernel.addFrames(
        at.frames,
        frameBytes,
        at.factors,
        frameCount,
        clip,
        Math.ceil((end - start) / 8) * 8,
        darkOf(start),
        withDark ? 4 : 0,
        at.reference + 4 * start,
        at.limit + 4 * start,
        at.sum + 4 * start,
        at.squares + 4 * start,
        at.rejected + 2 * start,
        at.clipped + 2 * start,
      );
    }

    /** By a table that lies in the kernel's memory. */
    function limitPiece(
      { variances, stepAdu, below }: ReturnType<typeof tabulate>,
      start: number,
      end: number,
    ): void {
      kernel.setLimits(
        at.limit + 4 * start,
        at.reference + 4 * start,
        Math.ceil((end - start) / 4) * 4,
        at.sigmas,
        stepAdu,
        below,
        variances.length - 1,
        rejectSigma,
        sigmaLeast,
      );
    }
    const putSigmas = (sigmas: ReturnType<typeof tabulate>) =>
      new Float32Array(buffer, at.sigmas, sigmasMost).set(sigmas.variances);

    return {
      ...{ dark, reference, limit },
      sum: reals(at.sum),
      squares: reals(at.squares),
      rejected: counts(at.rejected),
      clipped: counts(at.clipped),
      add(frames, clipAdu, fromPx, toPx) {
        const clip = clipOf(clipAdu);
        inPieces(frames, fromPx, toPx, (start, end) => addPiece(frames.length, clip, start, end));
      },
      begin(frames, clipAdu, sigmas, fromPx, toPx) {
        const clip = clipOf(clipAdu);
        const onePixel = pixelByPixel(frames, dark, clipAdu, { medians: reference, spreads: limit });
        putSigmas(sigmas);
        inPieces(frames, fromPx, toPx, (start, end) => {
          const someClipped = statistics(
            at.frames,
            frameBytes,
            at.factors,
            frames.length,
            clip,
            Math.ceil((end - start) / 4) * 4,
            darkOf(start),
            at.values,
            at.reference + 4 * start,
            0,
            at.limit + 4 * start,
          );
          if (someClipped !== 0)
            for (let px = start; px < end; px++) if (Number.isNaN(reference[px]!)) onePixel(px);
          limitPiece(sigmas, start, end);
          addPiece(frames.length, clip, start, end);
        });
      },
      setLimits(sigmas, fromPx, toPx) {
        putSigmas(sigmas);
        limitPiece(sigmas, fromPx, toPx);
      },
    };
  };
}
