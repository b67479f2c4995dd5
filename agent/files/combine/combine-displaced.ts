import { basename } from "node:path";
import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import { FrameLogsInMemory } from "../../imaging/displaced/frame-logs.ts";
import { type DisplacedSolution, solveDisplaced } from "../../imaging/displaced/solve-displaced.ts";
import type { DiscPx } from "../../imaging/displaced/sun-model.ts";
import { makeSweepKernels } from "../../imaging/displaced/sweep-kernels.ts";
import type { FftLibrary } from "../../imaging/numerics/fft-library.ts";
import { FrameLogsOnDisk } from "../../open-files/frame-logs-on-disk.ts";
import { hearStop } from "../hear-stop.ts";
import { InputError } from "../input-error.ts";
import { ClipCounter } from "./clip-counter.ts";
import { describeDuplicates, frameLevel } from "./frame-levels.ts";
import { MasterFile } from "./master-file.ts";
import {
  type CombineResult,
  type DarkParts,
  type MasterRequest,
  masterPlans,
  openSeries,
  shapeOf,
} from "./open-series.ts";

export interface DisplacedRequest extends MasterRequest {
  /** The Sun's disc in the first file; without it the Sun is taken to be evenly bright. */
  readonly disc?: DiscPx;
}

export interface DisplacedResult extends CombineResult {
  readonly frames: readonly {
    readonly file: string;
    readonly shiftPx: readonly [number, number];
    readonly residualFraction: number;
    readonly dropped?: string;
  }[];
  /** How far the two ways of telling the flat's gradient lie apart; above 3 neither is to be trusted blindly. */
  readonly anchorsApartSigmas: number | undefined;
  /** One sigma of the flat's gradient, as change over the frame's width and height. */
  readonly gradientSigma: readonly [number, number] | undefined;
}

/** More than this goes to a scratch file beside the output. */
const bytesInMemoryMost = 2 ** 30;

/**
 * A flat solved from files that show the Sun displaced: gain and Sun told apart, shifts found from the pictures.
 * The result is float32 [adu above the dark] with UNCERT and MASK.
 * @param onProgress 0 … 1
 * @throws InputError, and the signal's reason
 */
export async function combineDisplaced(
  request: DisplacedRequest,
  fft: FftLibrary,
  onProgress: (done: number) => void,
): Promise<DisplacedResult> {
  const { threads } = request;
  using opened = new DisposableStack();
  const { images, dark, warnings } = openSeries(request, 8, opened);
  const shape = shapeOf(images);
  const pxCount = shape.widthPx * shape.heightPx;
  using file = new MasterFile(request, masterPlans(request, images, "gain solved from displaced frames"));
  const large = 2 * pxCount * images.length > bytesInMemoryMost;
  const logs = large
    ? opened.use(new FrameLogsOnDisk(`${request.output}.scratch`, pxCount))
    : new FrameLogsInMemory();
  const reader = new LevelReader(images, dark, pxCount);
  // Disposed of first, it ends its thread before the scratch file is closed.
  using work = solveDisplaced(
    {
      shape,
      frameCount: images.length,
      readLevels: (frameIndex, into) => reader.read(frameIndex, into),
      ...(request.disc ? { disc: { ...request.disc, frameIndex: 0 } } : {}),
    },
    { fft, makeKernels: makeSweepKernels, logs, ...(threads && { startThread: threads.startDisplaced }) },
  );
  const solution = await finishWork(work, onProgress, request.signal);
  const { flat } = solution;
  const value = flat.gain.map((gain) => gain * flat.levelAdu);
  const sigma = flat.sigma.map((own, i) => Math.hypot(own * flat.levelAdu, reader.darkSigma?.[i] ?? 0));
  const clipped = reader.clips.takeMask(pxCount);
  const mask = flat.mask.map((bits, i) => bits | clipped[i]! | (reader.darkMask?.[i] ?? 0));
  file.write(0, { value, sigma, mask });
  const { anchor } = solution;
  return {
    method: "displaced",
    frameCount: images.length,
    ...shape,
    ...file.finish(),
    rejectedFraction: solution.frames.filter((frame) => frame.dropped).length / images.length,
    warnings: [...warnings, ...describeDuplicates(images.map(frameLevel))],
    frames: solution.frames.map((frame, k) => ({
      file: basename(images[k]!.path),
      shiftPx: [frame.shift.x, frame.shift.y],
      residualFraction: frame.residualRms,
      ...(frame.dropped ? { dropped: frame.dropped } : {}),
    })),
    anchorsApartSigmas: anchor?.disagreementSigmas,
    gradientSigma: anchor && [anchor.xSigma * shape.widthPx, anchor.ySigma * shape.heightPx],
  };
}

async function finishWork(
  work: ReturnType<typeof solveDisplaced>,
  onProgress: (done: number) => void,
  signal: AbortSignal | undefined,
): Promise<DisplacedSolution> {
  try {
    for (;;) {
      const step = work.next();
      if (step.done) return step.value;
      onProgress(step.value.done);
      await hearStop(signal);
    }
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    throw new InputError(`${error.message}.`, "Name frames that show the Sun.", { cause: error });
  }
}

/** Frames' levels above the dark; clipped and masked pixels become NaN. */
class LevelReader {
  readonly clips: ClipCounter;
  readonly darkSigma: Float32Array | undefined;
  readonly darkMask: Uint8Array | undefined;
  readonly #dark: Float32Array | undefined;

  constructor(
    readonly images: readonly FitsFileImage[],
    dark: DarkParts | undefined,
    readonly pxCount: number,
  ) {
    this.clips = new ClipCounter(images);
    const whole = (image: FitsFileImage | undefined) => image?.readRows(0, image.rowCount);
    const [level, sigma, mask] = [whole(dark?.image), whole(dark?.sigma), whole(dark?.mask)];
    this.#dark = level && new Float32Array(level);
    this.darkSigma = sigma && new Float32Array(sigma);
    this.darkMask = mask && new Uint8Array(mask);
    if (this.#dark && this.darkMask)
      for (let i = 0; i < pxCount; i++) if (this.darkMask[i] !== 0) this.#dark[i] = Number.NaN;
  }

  read(frameIndex: number, into: Float32Array): void {
    const pixels = this.images[frameIndex]!.readPixels(0, this.pxCount);
    this.clips.count(pixels);
    into.set(pixels);
    if (pixels instanceof Uint16Array) dropFrom(into, this.clips.clipAdu);
    if (this.#dark) subtract(into, this.#dark);
  }
}

function dropFrom(levels: Float32Array, clipAdu: number): void {
  for (let i = 0; i < levels.length; i++) if (levels[i]! >= clipAdu) levels[i] = Number.NaN;
}

function subtract(levels: Float32Array, dark: Float32Array): void {
  for (let i = 0; i < levels.length; i++) levels[i]! -= dark[i]!;
}
