import { limbDarkening } from "../../../imaging/disc/limb-darkening.ts";
import { maskUnsolvedPixels } from "../../../imaging/displaced/drift/mark-lost.ts";
import { type SunFrame, stackSun } from "../../../imaging/displaced/drift/sun-canvas.ts";
import { divideFramesBySun, type SunDividedFrames } from "../../../imaging/displaced/drift/without-sun.ts";
import type { ShiftPx } from "../../../imaging/displaced/object-grid.ts";
import { type DisplacedSolution, solveDisplaced } from "../../../imaging/displaced/solve-displaced.ts";
import { makeSweepKernels } from "../../../imaging/displaced/sweep-kernels.ts";
import { UnsolvableSeriesError } from "../../../imaging/displaced/unsolvable-series.ts";
import { loadFft } from "../../../imaging/numerics/fft-library.ts";
import { median } from "../../../imaging/numerics/order-statistics.ts";
import { StepError } from "../../step-error.ts";
import { readUnhealthyPixels } from "../../unhealthy-px.ts";
import { type DriftFrame, type LevelsRequest, readDriftLevels } from "./drift-frames.ts";
import { type DriftWork, discPlacePx } from "./drift-work.ts";

export interface DriftSolution {
  readonly solution: DisplacedSolution;
  /** In the order of the series; proof frames are not among them. */
  readonly frames: readonly DriftFrame[];
  readonly independent: SunDividedFrames;
  readonly clippedFraction: number;
  /** Mean of the frames that were used, over their own levels: the rig and the Sun as a plain average has them. */
  readonly average: Float32Array;
}

/** How many of the solver's short steps go between two looks at what else is to be done. */
const stepsAtOnce = 64;

/** The flat from the displaced frames, and the proof frames without their Sun. @throws StepError without enough light */
export async function solveDrift(work: DriftWork, signal: AbortSignal): Promise<DriftSolution> {
  const { bench, shape } = work;
  const frames = work.frames.filter(({ isProof }) => !isProof);
  const fft = await bench.clock.hold(loadFft());
  const pxCount = shape.widthPx * shape.heightPx;
  const levels: LevelsRequest = {
    dark: work.dark!.meanAdu,
    clipAdu: work.tuned!.topAdu - 1,
    unhealthyPx: readUnhealthyPixels(bench, pxCount),
  };
  const clippedIn = new Uint16Array(pxCount);
  const nearest = frames.indexOf(
    frames.reduce((best, frame) => (fromCentre(frame) < fromCentre(best) ? frame : best)),
  );
  // Given back after a stop it ends its thread.
  using steps = solveDisplaced(
    {
      shape,
      frameCount: frames.length,
      readLevels: (frameIndex, into) => readDriftLevels(bench, frames[frameIndex]!, levels, into, clippedIn),
      disc: {
        ...discPlacePx(shape, bench.findings.cameraOnSky!, frames[nearest]!.at),
        radiusPx: work.discRadiusPx,
        frameIndex: nearest,
        darkening: limbDarkening(bench.optics.wavelengthNm),
      },
    },
    { fft, makeKernels: makeSweepKernels, startThread: bench.threads.startDisplaced },
  );
  let step = solveFurther(steps);
  for (let count = 1; !step.done; step = solveFurther(steps), count++) {
    if (count % stepsAtOnce !== 0) continue;
    bench.progress({ what: "solving the flat, per cent", done: Math.round(100 * step.value.done), of: 100 });
    await bench.clock.sleep(0, signal);
  }
  const solution = step.value;
  const clippedFraction = maskUnsolvedPixels(solution.flat.mask, shape, {
    frameCount: frames.length,
    clippedIn,
    unhealthyPx: levels.unhealthyPx,
  });
  const used = solution.frames.flatMap(({ dropped }, k) => (dropped ? [] : [k]));
  if (used.length < frames.length / 2)
    throw new StepError(
      "DRIFT_NOT_SOLVED",
      `only ${used.length} of ${frames.length} frames fit together as one Sun on one rig`,
      "Wait for steadier air and a clear sky, then run the plan again.",
    );
  const readOver = (frame: DriftFrame, level: number | undefined) => (into: Float32Array) => {
    readDriftLevels(bench, frame, levels, into);
    const own = level ?? medianLevel(into);
    for (let i = 0; i < into.length; i++) into[i]! /= own;
  };
  const sunFrames = used.map((k): SunFrame => {
    const { shift, level } = solution.frames[k]!;
    return { shift, read: readOver(frames[k]!, Math.exp(level)) };
  });
  const proofFrames = work.frames.filter(({ isProof }) => isProof);
  const independent = divideFramesBySun(fft, {
    flat: solution.flat,
    sunAt: stackSun(sunFrames, solution.flat),
    sunFrames: used.length,
    frames: proofFrames.map((frame) => ({
      near: expectedShift(work, frames[used[0]!]!, frame),
      read: readOver(frame, undefined),
    })),
  });
  if (!independent)
    throw new StepError(
      "DRIFT_NOT_SOLVED",
      `of the ${proofFrames.length} frames that were kept to prove the flat no two agree`,
      "Wait for steadier air and a clear sky, then run the plan again.",
    );
  return { solution, frames, independent, clippedFraction, average: averageOf(sunFrames, pxCount) };
}

/** @throws StepError when the frames can't tell the Sun from the rig */
function solveFurther(steps: ReturnType<typeof solveDisplaced>): ReturnType<typeof steps.next> {
  try {
    return steps.next();
  } catch (error) {
    if (error instanceof UnsolvableSeriesError)
      throw new StepError("DRIFT_NOT_SOLVED", error.message, error.whatToDo);
    throw error;
  }
}

/** Of a sample: a median of millions tells no more. */
function medianLevel(levels: Float32Array): number {
  const every = Math.max(1, Math.floor(levels.length / 20_000)) | 1;
  const sample: number[] = [];
  for (let i = 0; i < levels.length; i += every) if (levels[i]! > 0) sample.push(levels[i]!);
  return median(sample) ?? 1;
}

/** By the mount's account; good enough for the frames to overlap. */
export function expectedShift({ bench, shape }: DriftWork, first: DriftFrame, frame: DriftFrame): ShiftPx {
  const camera = bench.findings.cameraOnSky!;
  const [from, to] = [discPlacePx(shape, camera, first.at), discPlacePx(shape, camera, frame.at)];
  return { x: to.x - from.x, y: to.y - from.y };
}

function averageOf(frames: readonly SunFrame[], pxCount: number): Float32Array {
  const sum = new Float32Array(pxCount);
  const count = new Uint16Array(pxCount);
  const levels = new Float32Array(pxCount);
  for (const frame of frames) {
    frame.read(levels);
    for (let i = 0; i < pxCount; i++) {
      if (!(levels[i]! > 0)) continue;
      sum[i]! += levels[i]!;
      count[i]!++;
    }
  }
  return sum.map((value, i) => (count[i]! > 0 ? value / count[i]! : 1));
}

function fromCentre({ at }: DriftFrame): number {
  return Math.hypot(at.eastArcsec, at.northArcsec);
}
