import type { GrowthPoint } from "../noise/noise-growth.ts";
import { type HalvesFigures, halvesOfBlocks } from "../noise/series-halves.ts";
import type { Shape } from "../numerics/shape.ts";
import { blockSidePx, HalvesTotals, quarterCount } from "./halves-totals.ts";
import { addSecond, sharedDoubles } from "./part-sums.ts";
import { bandRows, type PartSums, partCount, type SolutionArrays } from "./passes.ts";
import { type Problem, viewsOf } from "./problem.ts";
import type { SweepKernels } from "./sweep-kernels.ts";

/** How a solved flat's frames agree with each other. */
export interface HalvesAgreement {
  /** Noise of the flat by the difference of even and odd frames, and what the scatter of all frames promises for it. */
  readonly evenOdd: GrowthPoint;
  /** `undefined` when too few blocks are lit. */
  readonly firstSecond: HalvesFigures | undefined;
}

/** A block with a smaller share of trusted pixels has no say. */
const trustedInBlock = 0.5;

/** How many numbers in how many arrays the kernels are asked for: sums of the quarters, for a band of each part. */
export function quarterRoom(shape: Shape): { arrays: number; floats: number } {
  return { arrays: partCount, floats: partCount * numbersOfBand(shape) };
}

export function quarterSums(kernels: SweepKernels, shape: Shape): PartSums<Float32Array> {
  return [kernels.floats(numbersOfBand(shape)), kernels.floats(numbersOfBand(shape))];
}

function numbersOfBand({ widthPx, heightPx }: Shape): number {
  return 2 * quarterCount * widthPx * Math.min(heightPx, bandRows(widthPx));
}

/**
 * Gain of each half of the frames with the Sun that all of them share, compared: G_half - G = Σ_half w q / Σ_half w, one
 * more sweep instead of four more solutions. The q of a pixel add up to nothing, so by chance alone the halves' gains
 * differ by Σ w q² / (n - 1) · (1/n_A + 1/n_B) in the mean of the squares, whatever their distribution.
 * What the Sun and the frames' levels have wrong for all frames alike is not seen by it.
 * @param work.squares Σ w q² of each pixel; `scratch` as large as the object
 */
export function* compareHalves(
  problem: Problem,
  unknowns: SolutionArrays,
  work: {
    readonly sums: PartSums<Float32Array>;
    readonly squares: Float32Array;
    readonly scratch: PartSums<Float32Array>;
  },
): Generator<void, HalvesAgreement> {
  const { shape, frames } = problem;
  const totals = sharedDoubles(HalvesTotals.length(shape));
  yield* problem.work.run("sumQuarters", { views: viewsOf(problem), unknowns, ...work, totals }, partCount);
  return agreement(new HalvesTotals(shape, addSecond(totals)), frames.length);
}

function agreement(totals: HalvesTotals, frames: number): HalvesAgreement {
  const { evenOdd } = totals;
  const perPixel = (sum: number) => Math.sqrt(sum / Math.max(1, evenOdd.pixels)) / 2;
  const differences: number[] = [];
  const variances: number[] = [];
  totals.counts.forEach((count, block) => {
    if (count < trustedInBlock * blockSidePx ** 2) return;
    differences.push(totals.differences[block]! / count);
    variances.push(totals.variances[block]! / count ** 2);
  });
  const firstFrames = Math.ceil(frames / 2);
  return {
    evenOdd: {
      frames,
      measured: perPixel(evenOdd.squares),
      expected: perPixel(evenOdd.expected),
    },
    firstSecond: halvesOfBlocks(differences, variances, {
      firstFrames,
      secondFrames: frames - firstFrames,
      blockSidePx,
    }),
  };
}
