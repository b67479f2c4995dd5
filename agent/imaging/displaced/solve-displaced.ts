import type { Flat } from "../combining/normalise-flat.ts";
import type { SunSeparation } from "../combining/sun-separation.ts";
import { type LimbDarkening, limbDarkening } from "../disc/limb-darkening.ts";
import type { FftLibrary } from "../numerics/fft-library.ts";
import { median } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";
import { type Anchor, combineSlopes } from "./anchor-plane.ts";
import { CoarseWork } from "./coarse-work.ts";
import { compareHalves, type HalvesAgreement, quarterRoom, quarterSums } from "./compare-halves.ts";
import { flatFromGain } from "./flat-of-gain.ts";
import { type FrameLogs, FrameLogsInMemory } from "./frame-logs.ts";
import { replaceUnlikelyShifts, selectConsistentFrames, setFrameWeights } from "./frame-trust.ts";
import { levelSlope } from "./level-slope.ts";
import { type ObjectGrid, objectGrid, type ShiftPx } from "./object-grid.ts";
import type { PartSums, SolutionArrays } from "./passes.ts";
import { type StartThread, TaskPool } from "./piece-work.ts";
import type { Counts, Problem } from "./problem.ts";
import { type DisplacedProgress, reportProgress } from "./progress.ts";
import { quietSunSlope } from "./quiet-sun-slope.ts";
import { type ReadSeries, readSeries, type SeriesToRead } from "./read-series.ts";
import { refineShifts } from "./refine-shifts.ts";
import { registerSeries } from "./register-series.ts";
import { checkReach, describeMoves, measureReach, type ShiftReach } from "./shift-reach.ts";
import { solveRound, stepsPerRound, stepsPerSweep } from "./solve-round.ts";
import { measureSunChange } from "./sun-change.ts";
import { type DiscPx, fillSunModel, maskLimb } from "./sun-model.ts";
import type { MakeKernels } from "./sweep-kernels.ts";
import { measureUnseparated } from "./unseparated-structure.ts";
import { UnsolvableSeriesError } from "./unsolvable-series.ts";

/** Frames in order of time. */
export interface DisplacedInput extends SeriesToRead {
  /** Where the disc lies in one of the frames; without it the Sun is taken to be evenly bright. */
  readonly disc?: DiscPx & { readonly frameIndex: number; readonly darkening?: LimbDarkening };
  /** Shifts as commanded or measured from the limb; a blind shift that is too far from them gives way. */
  readonly expectedShifts?: readonly ShiftPx[];
}

export interface DisplacedTools {
  readonly fft: FftLibrary;
  readonly makeKernels: MakeKernels;
  /** Where the frames' logarithms are kept; in memory unless said. */
  readonly logs?: FrameLogs;
  /** A second thread, for as long as the solution is worked on; without it all is done on this one. */
  readonly startThread?: StartThread;
}

export interface DisplacedFrame {
  /** Of the Sun, from the first frame that was used [px]; x right, y down. */
  readonly shift: ShiftPx;
  /** Logarithm of the frame's brightness. */
  readonly level: number;
  /** Root mean square of what the solution does not explain, in logarithms. */
  readonly residualRms: number;
  readonly dropped?: "no light" | "unlike the others";
}

export interface DisplacedSolution {
  /** Mean 1 over its lit, trusted pixels. */
  readonly flat: Flat;
  readonly frames: readonly DisplacedFrame[];
  /** The slope that was moved from Sun to gain, and how the two ways of telling it agree. */
  readonly anchor: Anchor | undefined;
  /** Logarithm of the Sun's picture over the limb-darkening model, and how many frames' worth saw each pixel. */
  readonly sun: { readonly grid: ObjectGrid; readonly object: Float32Array; readonly count: Float32Array };
  readonly coarseIterations: readonly number[];
  readonly halves: HalvesAgreement;
  readonly separation: SunSeparation;
  readonly reach: ShiftReach;
}

const ridge = 0.02;
const rounds = 3;
const wavelengthNm = 656.28;
/** Shifts are hardly known better than this, whatever the last step was. */
const shiftSigmaLeastPx = 0.02;
/** More of the Sun than this in a flat is worse than no flat: twice what shows in a picture. */
const unseparatedMost = 0.01;
/** Where nothing moves the highest of all correlations stands 17 to 21 sigma above the others; of 0.4 % structure, 80. */
const peakSigmasLeast = 35;

/**
 * Gain and Sun from frames in which the Sun lies at different places; shifts and levels of the frames are found too.
 * Minimises Σ w (D - c - G - T O)² + ridge Σ (O - limb darkening)² in logarithms.
 * Yields after every few milliseconds of work. Given back early, by `return`, it ends its thread.
 * The same to the bit with a second thread and without.
 * Memory: 2 bytes for each pixel of each frame (in `tools.logs`), 1/8 of that at a quarter of the resolution, and about
 * 150 bytes for each pixel of one frame.
 * @throws RangeError with less than three frames that hold light
 * @throws UnsolvableSeriesError when nothing in the frames moves, or too little to tell the Sun from the rig
 * Sources: J. R. Kuhn, H. Lin and D. Loranz, Publ. Astron. Soc. Pacific 103 (1991) 1097; J. Chae, Solar Physics 221
 * (2004) 1 (from memory); D. J. Fixsen, S. H. Moseley and R. G. Arendt, Astrophys. J. Suppl. 128 (2000) 651.
 */
export function* solveDisplaced(
  input: DisplacedInput,
  tools: DisplacedTools,
): Generator<DisplacedProgress, DisplacedSolution> {
  const { shape, frameCount } = input;
  const pxCount = shape.widthPx * shape.heightPx;
  using work = new TaskPool({ fft: tools.fft, logs: {} }, tools.startThread?.(frameCount * pxCount));
  const reading = readSeries(input, tools.logs ?? new FrameLogsInMemory());
  const read = yield* reportProgress(reading, "reading", 0, 0.1, frameCount);
  const { logs, medians, average } = read;
  let { frames } = read;
  if (frames.length < 3) throw new RangeError(`${frames.length} frames with light do not make a flat`);
  work.useLogs("full", logs);
  const registration = registerSeries(work, { frames, shape }, average);
  const registrations = (2 * frames.length) / work.threads;
  const found = yield* reportProgress(registration, "registering", 0.1, 0.25, registrations);
  const shifts: ShiftPx[] = Array.from({ length: frameCount }, () => ({ x: 0, y: 0 }));
  frames.forEach((frameIndex, k) => {
    shifts[frameIndex] = found.shifts[k]!;
  });
  checkPeaks(found.peakSigmas);
  if (input.expectedShifts) replaceUnlikelyShifts(shifts, input.expectedShifts, frames);

  checkReach(measureReach(frames.map((frameIndex) => shifts[frameIndex]!)), shape);

  const grid = objectGrid(
    shape,
    frames.map((frameIndex) => shifts[frameIndex]!),
  );
  const gridPx = grid.widthPx * grid.heightPx;
  const coarseRoom = CoarseWork.room(shape, grid);
  const halvesRoom = quarterRoom(shape);
  const kernels = tools.makeKernels({
    ...shape,
    arrays: 8 + coarseRoom.arrays + halvesRoom.arrays,
    floats: 4 * pxCount + 4 * gridPx + coarseRoom.floats + halvesRoom.floats,
  });
  work.useKernels(kernels);
  const model = new Float32Array(gridPx);
  if (input.disc) {
    const { disc } = input;
    if (!frames.includes(disc.frameIndex))
      throw new RangeError("the frame that the disc was given for holds no light");
    const at = shifts[disc.frameIndex]!;
    const onSun = { x: disc.x - at.x, y: disc.y - at.y, radiusPx: disc.radiusPx };
    fillSunModel(model, grid, onSun, disc.darkening ?? limbDarkening(wavelengthNm));
    maskLimbs(read, shifts, shape, onSun);
  }
  const unknowns: SolutionArrays = {
    levels: new Float64Array(frameCount),
    gain: kernels.floats(pxCount),
    object: kernels.floats(gridPx),
  };
  unknowns.gain.set(average);
  unknowns.object.set(model);
  const counts: Counts = {
    gain: kernels.floats(pxCount),
    object: kernels.floats(gridPx),
    frame: new Float64Array(frameCount),
  };
  const objects: PartSums<Float32Array> = [kernels.floats(gridPx), kernels.floats(gridPx)];
  const sums = { gain: kernels.floats(pxCount), objects };
  const residualRms = new Float64Array(frameCount);
  const coarseWork = new CoarseWork(kernels, { shape, grid, frames }, frameCount);
  work.useLogs("coarse", coarseWork.logs);
  const roundWork = { sums, model, residualRms, coarse: coarseWork };
  const weights = new Float64Array(frameCount).fill(1);
  const coarseIterations: number[] = [];
  let reached = 0;
  let shiftSigmaPx = 0;
  const problemOf = (): Problem => ({ work, scale: "full", shape, frames, shifts, weights, grid, ridge });
  for (let round = 0; round < rounds; round++) {
    const share = 0.6 / rounds;
    const solve = solveRound(problemOf(), unknowns, counts, roundWork, reached);
    const steps = stepsPerRound(shape) / work.threads;
    const coarse = yield* reportProgress(solve, "solving", 0.35 + round * share, share, steps);
    coarseIterations.push(coarse.iterations);
    reached = coarse.reached;
    if (round === rounds - 1) break;
    const kept = selectConsistentFrames(frames, residualRms);
    if (kept.length >= 3) frames = kept;
    setFrameWeights(frames, residualRms, weights);
    const limit = 3 * median(frames.map((frameIndex) => residualRms[frameIndex]!))!;
    shiftSigmaPx = yield* reportProgress(
      refineShifts(problemOf(), unknowns, limit),
      "solving",
      0.35 + (round + 1) * share,
      0,
      1,
    );
  }

  const problem = problemOf();
  const comparing = compareHalves(problem, unknowns, {
    sums: quarterSums(kernels, shape),
    squares: sums.gain,
    scratch: objects,
  });
  const halves = yield* reportProgress(comparing, "solving", 0.95, 0.05, stepsPerSweep(shape) / work.threads);
  const changing = measureSunChange(problem, unknowns, { gain: kernels.floats(pxCount), objects });
  const sunChange = yield* reportProgress(changing, "solving", 1, 0, 1);
  const object = unknowns.object.slice();
  for (let i = 0; i < object.length; i++) object[i]! -= model[i]!;
  const used = frames.map((frameIndex) => shifts[frameIndex]!);
  const finish = <T>(work: Generator<void, T>) => reportProgress(work, "solving", 1, 0, 1);
  const anchor = combineSlopes(
    yield* finish(quietSunSlope(object, counts.object, grid)),
    levelSlope(
      frames.map((frameIndex) => medians[frameIndex]! + unknowns.levels[frameIndex]!),
      used,
    ),
  );
  const slope = anchor ?? { x: 0, y: 0, xSigma: 0, ySigma: 0 };
  addPlane(object, grid, { x: -slope.x, y: -slope.y }, { x: grid.originX, y: grid.originY });
  const reach = measureReach(used);
  checkReach(reach, shape);
  const unseparated = measureUnseparated(tools.fft, {
    ...{ object, grid, shape, ridge, shifts: used },
    shiftSigmaPx: Math.max(shiftSigmaLeastPx, shiftSigmaPx),
  });
  if (unseparated > unseparatedMost)
    throw new UnsolvableSeriesError(
      `Structure of the Sun of ${(100 * unseparated).toFixed(1)} % (rms) would stay in the flat`,
      describeMoves(reach, shape),
    );
  const flat = yield* finish(
    flatFromGain({
      problem,
      unseparated,
      gain: unknowns.gain,
      counts,
      squareSum: sums.gain,
      slope,
      levelAdu: Math.exp(median(frames.map((frameIndex) => medians[frameIndex]!))!),
    }),
  );
  const first = used[0]!;
  return {
    flat,
    anchor,
    sun: { grid, object, count: counts.object.slice() },
    coarseIterations,
    halves,
    separation: { unseparated, sunChange },
    reach,
    frames: Array.from({ length: frameCount }, (_, frameIndex) => {
      const shift = shifts[frameIndex]!;
      const dropped = Number.isNaN(medians[frameIndex]!) ? "no light" : "unlike the others";
      return {
        shift: { x: shift.x - first.x, y: shift.y - first.y },
        level: medians[frameIndex]! + unknowns.levels[frameIndex]! - slope.x * shift.x - slope.y * shift.y,
        residualRms: residualRms[frameIndex]!,
        ...(frames.includes(frameIndex) ? {} : { dropped }),
      };
    }),
  };
}

/** The frame that the others are correlated with stands for itself. @throws UnsolvableSeriesError */
function checkPeaks(peakSigmas: readonly number[]): void {
  const usual = median(peakSigmas)!;
  if (usual >= peakSigmasLeast) return;
  throw new UnsolvableSeriesError(
    "Nothing moves in the frames: either the Sun stood still, or it shows no structure",
    "Name frames in which the Sun lies at different places. If it did and is this even, combine them by --method series, and correct for the limb yourself.",
  );
}

function maskLimbs(
  { logs, frames }: Pick<ReadSeries, "logs" | "frames">,
  shifts: readonly ShiftPx[],
  shape: Shape,
  onSun: DiscPx,
): void {
  for (const frameIndex of frames) {
    const { x, y } = shifts[frameIndex]!;
    const own = logs.get(frameIndex, 0, shape.widthPx * shape.heightPx).slice();
    if (maskLimb(own, shape, { ...onSun, x: onSun.x + x, y: onSun.y + y })) logs.put(frameIndex, own);
  }
}

/** picture += slope · (position - origin) */
function addPlane(picture: Float32Array, shape: Shape, slope: ShiftPx, origin: ShiftPx): void {
  for (let y = 0; y < shape.heightPx; y++) {
    const start = slope.y * (y - origin.y) - slope.x * origin.x;
    for (let x = 0; x < shape.widthPx; x++) picture[y * shape.widthPx + x]! += start + slope.x * x;
  }
}
