import type { GrowthPoint } from "../noise/noise-growth.ts";
import { type HalvesFigures, halvesOfBlocks } from "../proof/series-halves.ts";
import { bandRows, forEachView, type Problem, type Unknowns } from "./problem.ts";
import type { SweepKernels } from "./sweep-kernels.ts";

/** How a solved flat's frames agree with each other. */
export interface HalvesAgreement {
  /** Noise of the flat by the difference of even and odd frames, and what the scatter of all frames promises for it. */
  readonly evenOdd: GrowthPoint;
  /** `undefined` when too few blocks are lit. */
  readonly firstSecond: HalvesFigures | undefined;
}

export const blockSidePx = 32;
/** Fewer frames' worth in a half tell nothing of a pixel. */
const leastWeight = 2;
/** A block with a smaller share of trusted pixels has no say. */
const trustedInBlock = 0.5;
/** Even and odd frames of the first half, and of the second. */
const quarters = 4;

/** Sums of each quarter of the series, for one band of rows at a time. */
export class QuarterSums {
  readonly residuals: readonly Float32Array[];
  readonly weights: readonly Float32Array[];

  static room({ widthPx, heightPx }: Problem["shape"]) {
    return { arrays: 2 * quarters, floats: 2 * quarters * widthPx * Math.min(heightPx, bandRows(widthPx)) };
  }

  constructor(kernels: SweepKernels, { widthPx, heightPx }: Problem["shape"]) {
    const bandPx = widthPx * Math.min(heightPx, bandRows(widthPx));
    this.residuals = Array.from({ length: quarters }, () => kernels.floats(bandPx));
    this.weights = Array.from({ length: quarters }, () => kernels.floats(bandPx));
  }

  clear(): void {
    for (const sums of [...this.residuals, ...this.weights]) sums.fill(0);
  }
}

/**
 * Gain of each half of the frames with the Sun that all of them share, compared: G_half - G = Σ_half w q / Σ_half w, one
 * more sweep instead of four more solutions. The q of a pixel add up to nothing, so by chance alone the halves' gains
 * differ by Σ w q² / (n - 1) · (1/n_A + 1/n_B) in the mean of the squares, whatever their distribution.
 * What the Sun and the frames' levels have wrong for all frames alike is not seen by it.
 * @param work.squareSum Σ w q² of each pixel; `scratch` as large as the object
 */
export function* compareHalves(
  problem: Problem,
  unknowns: Unknowns,
  work: { readonly sums: QuarterSums; readonly squareSum: Float32Array; readonly scratch: Float32Array },
): Generator<void, HalvesAgreement> {
  const { kernels, shape, frames } = problem;
  const { sums, squareSum, scratch } = work;
  const totals = new HalvesTotals(shape);
  const placeOfFrame = new Map(frames.map((frameIndex, k) => [frameIndex, k]));
  let band: { startPx: number; endPx: number } | undefined;
  yield* forEachView(problem, (view, frameIndex, { startPx, endPx }) => {
    if (band?.startPx !== startPx) {
      if (band) totals.add(sums, squareSum, band);
      sums.clear();
      band = { startPx, endPx };
    }
    const k = placeOfFrame.get(frameIndex)!;
    const quarter = (k < frames.length / 2 ? 0 : 2) + (k % 2);
    const length = endPx - startPx;
    const gain = unknowns.gain.subarray(startPx, endPx);
    const [residuals, weights] = [sums.residuals[quarter]!, sums.weights[quarter]!];
    kernels.gather(view, unknowns.levels[frameIndex]!, gain, unknowns.object, residuals.subarray(0, length));
    kernels.count(view, weights.subarray(0, length), scratch);
  });
  if (band) totals.add(sums, squareSum, band);
  return totals.agreement(frames.length);
}

class HalvesTotals {
  #evenOddSquares = 0;
  #evenOddExpected = 0;
  #pixels = 0;
  readonly #columns: number;
  /** Of first less second half, and the variance that chance gives it. */
  readonly #differences: Float64Array;
  readonly #variances: Float64Array;
  readonly #counts: Uint32Array;

  constructor(private readonly shape: Problem["shape"]) {
    this.#columns = Math.ceil(shape.widthPx / blockSidePx);
    const blocks = this.#columns * Math.ceil(shape.heightPx / blockSidePx);
    this.#differences = new Float64Array(blocks);
    this.#variances = new Float64Array(blocks);
    this.#counts = new Uint32Array(blocks);
  }

  add(
    { residuals, weights }: QuarterSums,
    squareSum: Float32Array,
    { startPx, endPx }: { readonly startPx: number; readonly endPx: number },
  ): void {
    const [r0, r1, r2, r3] = residuals as [Float32Array, Float32Array, Float32Array, Float32Array];
    const [w0, w1, w2, w3] = weights as [Float32Array, Float32Array, Float32Array, Float32Array];
    const { widthPx } = this.shape;
    for (let i = 0; i < endPx - startPx; i++) {
      const [even, odd] = [w0[i]! + w2[i]!, w1[i]! + w3[i]!];
      const [first, second] = [w0[i]! + w1[i]!, w2[i]! + w3[i]!];
      if (Math.min(even, odd, first, second) < leastWeight) continue;
      const px = startPx + i;
      const variance = squareSum[px]! / (first + second - 1);
      this.#evenOddSquares += ((r0[i]! + r2[i]!) / even - (r1[i]! + r3[i]!) / odd) ** 2;
      this.#evenOddExpected += variance * (1 / even + 1 / odd);
      this.#pixels++;
      const x = px % widthPx;
      const row = (px - x) / widthPx;
      const block = Math.floor(row / blockSidePx) * this.#columns + Math.floor(x / blockSidePx);
      this.#differences[block]! += (r0[i]! + r1[i]!) / first - (r2[i]! + r3[i]!) / second;
      this.#variances[block]! += variance * (1 / first + 1 / second);
      this.#counts[block]!++;
    }
  }

  agreement(frames: number): HalvesAgreement {
    const perPixel = (sum: number) => Math.sqrt(sum / Math.max(1, this.#pixels)) / 2;
    const differences: number[] = [];
    const variances: number[] = [];
    this.#counts.forEach((count, block) => {
      if (count < trustedInBlock * blockSidePx ** 2) return;
      differences.push(this.#differences[block]! / count);
      variances.push(this.#variances[block]! / count ** 2);
    });
    const firstFrames = Math.ceil(frames / 2);
    return {
      evenOdd: {
        frames,
        measured: perPixel(this.#evenOddSquares),
        expected: perPixel(this.#evenOddExpected),
      },
      firstSecond: halvesOfBlocks(differences, variances, {
        firstFrames,
        secondFrames: frames - firstFrames,
        blockSidePx,
      }),
    };
  }
}
