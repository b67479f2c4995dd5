import { basename } from "node:path";
import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import type { HduPlan } from "../../../drivers/formats/fits-header-write.ts";
import { planeAcross } from "../../imaging/displaced/anchor-plane.ts";
import { FrameLogsInMemory } from "../../imaging/displaced/frame-logs.ts";
import { type DisplacedSolution, solveDisplaced } from "../../imaging/displaced/solve-displaced.ts";
import type { DiscPx } from "../../imaging/displaced/sun-model.ts";
import { makeSweepKernels } from "../../imaging/displaced/sweep-kernels.ts";
import { UnsolvableSeriesError } from "../../imaging/displaced/unsolvable-series.ts";
import type { FftLibrary } from "../../imaging/numerics/fft-library.ts";
import { lightFigures, nobodyLooked } from "../../imaging/proof/light-figures.ts";
import { knownOfSeries, planeFigures, seriesFigures } from "../../imaging/proof/proof.ts";
import { listReasons, type Verdict, worstVerdict } from "../../imaging/proof/proof-figure.ts";
import { lightCards } from "../../masters/light-cards.ts";
import type { SeriesFigures } from "../../masters/master-cards.ts";
import { flatHdus } from "../../masters/master-hdus.ts";
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
  masterOrigin,
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
  /** What the frames say of the flat; the whole picture's own figures are told by `inspect`. */
  readonly verdict: Verdict;
  readonly reasons: readonly string[];
  /** How far the two ways of telling the flat's gradient lie apart; above 3 neither is to be trusted blindly. */
  readonly anchorsApartSigmas: number | undefined;
  /** One sigma of the flat's gradient, as change over the frame's width and height. */
  readonly gradientSigma: readonly [number, number] | undefined;
}

/** More than this goes to a scratch file beside the output. */
const bytesInMemoryMost = 2 ** 30;

/**
 * A flat solved from files that show the Sun displaced: gain and Sun told apart, shifts found from the pictures.
 * The result is a master flat: float32, 1 on the mean, with UNCERT and MASK.
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
  const { anchor } = solution;
  const clipped = reader.clips.takeMask(pxCount);
  const flat = {
    ...solution.flat,
    sigma: solution.flat.sigma.map((own, i) =>
      Math.hypot(own, (reader.darkSigma?.[i] ?? 0) / solution.flat.levelAdu),
    ),
    mask: solution.flat.mask.map((bits, i) => bits | clipped[i]! | (reader.darkMask?.[i] ?? 0)),
  };
  const series = describeSeries(solution);
  const used = images.filter((_, k) => solution.frames[k]!.dropped === undefined);
  const origin = masterOrigin(request, images, used, "gain solved from displaced frames");
  const hdus = flatHdus(flat, series, { ...origin, more: [...origin.more, ...lightCards(nobodyLooked)] });
  using file = new MasterFile(request, hdus as HduPlan[]);
  file.write(0, { value: flat.gain, sigma: flat.sigma, mask: flat.mask });
  const written = file.finish(flat.levelAdu);
  const figures = [
    ...seriesFigures(knownOfSeries(series)),
    ...(anchor ? planeFigures(planeAcross(anchor, shape)) : []),
    ...lightFigures(nobodyLooked),
    written.trusted,
  ];
  return {
    method: "displaced",
    frameCount: used.length,
    ...shape,
    ...written,
    rejectedFraction: 0,
    refusedFrames: images.length - used.length,
    verdict: worstVerdict(figures),
    reasons: listReasons(figures),
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

/** Clipped pixels are not counted: none of their values takes part. */
function describeSeries({ frames, halves, separation }: DisplacedSolution): SeriesFigures {
  const refusedFrames = frames.filter(({ dropped }) => dropped).length;
  return {
    frameCount: frames.length - refusedFrames,
    refusedFrames,
    rejectedFraction: 0,
    clippedFraction: 0,
    growth: [halves.evenOdd],
    halves: halves.firstSecond,
    separation,
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
    if (error instanceof UnsolvableSeriesError)
      throw new InputError(`${error.message}.`, error.whatToDo, { cause: error });
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
