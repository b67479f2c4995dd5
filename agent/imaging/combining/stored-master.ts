import { finishMaster, type Master, type PixelSums } from "./finish-master.ts";
import {
  clipNone,
  FrameSelection,
  type RefusalReason,
  referenceFrames,
  type Selected,
  type SeriesOptions,
} from "./frame-selection.ts";
import { tabulateSigmas } from "./live-stripes.ts";
import { framesAtOnce, makeLiveSums } from "./live-sums.ts";

/** Frames that can be read piece by piece, and more than once. */
export interface StoredFrames {
  readonly frameCount: number;
  /** Reads as many pixels of a frame as `into` holds [adu]. */
  readPixels(frameIndex: number, startPx: number, into: Uint16Array): void;
}

/** Pixels of all frames that are summed before the next ones: what is kept of them stays in the cache. */
const piecePx = 65_536;

/** A frame that does not count, and why. */
export interface RefusedStored {
  readonly index: number;
  readonly reason: RefusalReason;
}

/**
 * The master of frames that are stored, the same as `MasterBuilder` makes of them one by one: they are selected in a first
 * pass, and summed piece by piece in a second, so that no more than one of them is in memory.
 * @param onProgress pixels of frames done, of how many; waited for, and what it throws ends the work
 * @returns no master when fewer than two frames are fit
 */
export async function combineStored(
  frames: StoredFrames,
  options: SeriesOptions,
  onProgress: (done: number, of: number) => Promise<void>,
): Promise<{ readonly master: Master | undefined; readonly refused: readonly RefusedStored[] }> {
  const pxCount = options.shape.widthPx * options.shape.heightPx;
  const all = 2 * pxCount * frames.frameCount;
  const select = (reference: readonly number[]) =>
    selectStored(frames, options, reference, (index) => onProgress((index + 1) * pxCount, all));
  let chosen = await select([]);
  // Held against the first frames most of the series is out of place: then it is they that are.
  if (frames.frameCount > referenceFrames && chosen.refused.length > refusedUsually * frames.frameCount) {
    const again = await select(spreadFrames(frames.frameCount));
    if (again.counted.length > chosen.counted.length) chosen = again;
  }
  const { selection, counted, refused } = chosen;
  if (!selection.noise) return { master: undefined, refused };
  const sums = await sumInPieces(frames, counted, selection, options, (donePx) =>
    onProgress(all / 2 + donePx * frames.frameCount, all),
  );
  return { master: finishMaster(sums, selection, options, "sums"), refused };
}

/** More refused frames than this share of all make a second look worth its time. */
const refusedUsually = 0.1;

/** As many as are usually compared with each other, from all of the series. */
function spreadFrames(frameCount: number): number[] {
  return Array.from({ length: referenceFrames }, (_, k) =>
    Math.floor(((k + 0.5) * frameCount) / referenceFrames),
  );
}

/** @param reference frames that all are held against; none: the first ones */
async function selectStored(
  frames: StoredFrames,
  options: SeriesOptions,
  reference: readonly number[],
  onFrame: (index: number) => Promise<void>,
) {
  const selection = new FrameSelection(options);
  const counted: CountedFrame[] = [];
  const refused: RefusedStored[] = [];
  const take = (selected: Omit<Selected, "verdict">) => {
    for (const { index, scale } of selected.counted) counted.push({ index, scale });
    for (const { frame, reason } of selected.refused) refused.push({ index: frame.index, reason });
  };
  const whole = new Uint16Array(options.shape.widthPx * options.shape.heightPx);
  for (const index of reference) {
    frames.readPixels(index, 0, whole);
    selection.addReference(whole);
  }
  if (reference.length > 0 && !selection.finishReference()) return { selection, counted, refused };
  for (let index = 0; index < frames.frameCount; index++) {
    frames.readPixels(index, 0, whole);
    take(selection.add(whole));
    await onFrame(index);
  }
  take(selection.finish());
  return { selection, counted, refused };
}

interface CountedFrame {
  readonly index: number;
  readonly scale: number;
}

async function sumInPieces(
  frames: StoredFrames,
  counted: readonly CountedFrame[],
  selection: FrameSelection,
  { shape, dark, clipAdu = clipNone }: SeriesOptions,
  onProgress: (donePx: number) => Promise<void>,
): Promise<PixelSums> {
  const pxCount = shape.widthPx * shape.heightPx;
  const sigmas = tabulateSigmas(selection.noise!);
  using sums = makeLiveSums(Math.min(piecePx, pxCount), dark !== undefined);
  const room = Array.from({ length: framesAtOnce }, () => new Uint16Array(Math.min(piecePx, pxCount)));
  const found = emptySums(pxCount);
  for (let startPx = 0; startPx < pxCount; startPx += piecePx) {
    const length = Math.min(piecePx, pxCount - startPx);
    const read = (some: readonly CountedFrame[]) =>
      some.map(({ index, scale }, k) => {
        const pixels = room[k]!.subarray(0, length);
        frames.readPixels(index, startPx, pixels);
        return { pixels, scale };
      });
    for (const values of [sums.sum, sums.squares, sums.rejected, sums.clipped]) values.fill(0);
    if (dark) sums.dark!.set(dark.meanAdu.subarray(startPx, startPx + length));
    sums.begin(read(counted.slice(0, referenceFrames)), clipAdu, sigmas, 0, length);
    for (let f = referenceFrames; f < counted.length; f += framesAtOnce)
      sums.add(read(counted.slice(f, f + framesAtOnce)), clipAdu, 0, length);
    for (const name of ["reference", "sum", "squares", "rejected", "clipped"] as const)
      found[name].set(sums[name].subarray(0, length), startPx);
    await onProgress(startPx + length);
  }
  return found;
}

function emptySums(pxCount: number): PixelSums {
  const reals = () => new Float32Array(pxCount);
  const counts = () => new Uint16Array(pxCount);
  return { reference: reals(), sum: reals(), squares: reals(), rejected: counts(), clipped: counts() };
}
