import { bytesOf, f32, layout, startKernel, u8, u16 } from "../../../drivers/kit/kernels/host.ts";
import type { tabulateVariance } from "../noise/noise-by-level.ts";
import { type LiveFrame, pixelByPixel } from "./first-frames.ts";

/** Most frames that one pass takes: what is kept of a pixel is read and written once for all of them. */
export const framesAtOnce = 12;

/** A table of what peers show. */
type Sigmas = ReturnType<typeof tabulateVariance>;

/**
 * What a series keeps of each pixel: sums of what its samples exceed a reference by, so that float32 carries them.
 * A sample at or above `clipAdu` counts as clipped, one further from the reference than its limit as rejected.
 * Disposed of they are empty.
 */
export interface LiveSums extends Disposable {
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
  begin(frames: readonly LiveFrame[], clipAdu: number, sigmas: Sigmas, fromPx: number, toPx: number): void;
  /**
   * Turns spreads of pixels, which lie where their limits will, into these: so many sigma of what peers of the level
   * show. A pixel that is clearly unlike them goes by its own spread: it is no outlier to itself.
   */
  setLimits(sigmas: Sigmas, fromPx: number, toPx: number): void;
}

/**
 * Beyond this many sigma of its pixel a sample is an outlier. Small hits are left out where they begin to show; what
 * that takes of good samples is reckoned with (`finishMaster`).
 */
export const rejectSigma = 3.2;
/** The spread of twelve samples is larger than this times sigma in one of forty good pixels. */
export const unlikePeers = 1.5;
/** Where nothing scatters at all [adu]. */
export const sigmaLeast = 1e-3;

export type MakeSums = (pxCount: number, withDark: boolean) => LiveSums;

/** Pixels of a frame that pass through the kernels' memory at once: those of all frames stay in the cache. */
const piecePx = 512;
/** From a frame's piece to the next one's [bytes]. */
const frameBytes = 2 * piecePx + 64;
/** Room for a table of sigmas. */
const sigmasMost = 4096;

/** By SIMD in WebAssembly; everything but the frames stays in its memory. */
export const makeLiveSums: MakeSums = (pxCount, withDark) => {
  const room = layout({
    factors: f32(framesAtOnce),
    frames: u8(framesAtOnce * frameBytes),
    values: u8(16 * framesAtOnce),
    /** Zeros where there is none. */
    dark: f32(withDark ? pxCount : piecePx),
    reference: f32(pxCount),
    limit: f32(pxCount),
    sum: f32(pxCount),
    squares: f32(pxCount),
    rejected: u16(pxCount),
    clipped: u16(pxCount),
    sigmas: f32(sigmasMost),
  });
  const { memory, at, views, bytes } = room;
  const kernel = startKernel("live-sums", memory);
  const { statistics } = startKernel("first-frames", memory);
  const { reference, limit } = views;
  const dark = withDark ? views.dark : undefined;
  const clipOf = (clipAdu: number) => Math.min(65_536, Math.ceil(clipAdu));
  const darkOf = (px: number) => (withDark ? at.dark + 4 * px : at.dark);

  /** Piece by piece: a piece of each frame lies in the kernels' memory when `work` is called. */
  function inPieces(
    frames: readonly LiveFrame[],
    fromPx: number,
    toPx: number,
    work: (start: number, end: number) => void,
  ): void {
    if (frames.length > framesAtOnce) throw new RangeError(`${frames.length} frames in one pass`);
    views.factors.set(frames.map(({ scale }) => 1 / scale));
    const sources = frames.map(({ pixels }) => bytesOf(pixels));
    for (let start = fromPx; start < toPx; start += piecePx) {
      const end = Math.min(start + piecePx, toPx);
      for (let k = 0; k < sources.length; k++)
        sources[k]!.copy(bytes, at.frames + k * frameBytes, 2 * start, 2 * end);
      work(start, end);
    }
  }

  function addPiece(frameCount: number, clip: number, start: number, end: number): void {
    kernel.addFrames({
      framesAt: at.frames,
      stride: frameBytes,
      factorsAt: at.factors,
      frameCount,
      clip,
      length: Math.ceil((end - start) / 8) * 8,
      dark: darkOf(start),
      darkStep: withDark ? 4 : 0,
      reference: at.reference + 4 * start,
      limit: at.limit + 4 * start,
      sum: at.sum + 4 * start,
      squares: at.squares + 4 * start,
      rejected: at.rejected + 2 * start,
      clipped: at.clipped + 2 * start,
    });
  }

  /** By the table that lies in the kernel's memory. */
  function limitPiece({ variances, stepAdu, below }: Sigmas, start: number, end: number): void {
    kernel.setLimits({
      limit: at.limit + 4 * start,
      reference: at.reference + 4 * start,
      length: Math.ceil((end - start) / 4) * 4,
      sigmas: at.sigmas,
      step: stepAdu,
      below,
      last: variances.length - 1,
      times: rejectSigma,
      least: sigmaLeast,
      unlike: unlikePeers,
    });
  }

  return {
    ...{ dark, reference, limit, sum: views.sum, squares: views.squares },
    ...{ rejected: views.rejected, clipped: views.clipped },
    add(frames, clipAdu, fromPx, toPx) {
      const clip = clipOf(clipAdu);
      inPieces(frames, fromPx, toPx, (start, end) => addPiece(frames.length, clip, start, end));
    },
    begin(frames, clipAdu, sigmas, fromPx, toPx) {
      const clip = clipOf(clipAdu);
      const onePixel = pixelByPixel(frames, dark, clipAdu, { medians: reference, spreads: limit });
      views.sigmas.set(sigmas.variances);
      inPieces(frames, fromPx, toPx, (start, end) => {
        const someClipped = statistics({
          frames: at.frames,
          frameBytes,
          factors: at.factors,
          n: frames.length,
          clip,
          length: Math.ceil((end - start) / 4) * 4,
          dark: darkOf(start),
          values: at.values,
          medians: at.reference + 4 * start,
          variances: 0,
          spreads: at.limit + 4 * start,
        });
        if (someClipped !== 0)
          for (let px = start; px < end; px++) if (Number.isNaN(reference[px]!)) onePixel(px);
        limitPiece(sigmas, start, end);
        addPiece(frames.length, clip, start, end);
      });
    },
    setLimits(sigmas, fromPx, toPx) {
      views.sigmas.set(sigmas.variances);
      limitPiece(sigmas, fromPx, toPx);
    },
    [Symbol.dispose]: room[Symbol.dispose],
  };
};
