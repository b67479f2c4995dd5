import type { Shape } from "../numerics/shape.ts";

export const blockSidePx = 32;
/** Fewer frames' worth in a half tell nothing of a pixel. */
const leastWeight = 2;
/** Even and odd frames of the first half, and of the second. */
export const quarterCount = 4;

/** Sums of each quarter of the series, for one band of rows at a time. */
export class QuarterSums {
  readonly #bandPx: number;

  /** @param numbers eight for each pixel of a band */
  constructor(readonly numbers: Float32Array) {
    this.#bandPx = numbers.length / (2 * quarterCount);
  }

  clear(): void {
    this.numbers.fill(0);
  }

  of(quarter: number, length: number): { readonly residuals: Float32Array; readonly weights: Float32Array } {
    const take = (k: number) => this.numbers.subarray(k * this.#bandPx, k * this.#bandPx + length);
    return { residuals: take(quarter), weights: take(quarterCount + quarter) };
  }
}

/** Sums over pixels and over blocks, all in one array: those of two parts are added as they are. */
export class HalvesTotals {
  /** Of first less second half in each block, the variance that chance gives it, and pixels that had a say. */
  readonly differences: Float64Array;
  readonly variances: Float64Array;
  readonly counts: Float64Array;
  readonly #columns: number;

  static length(shape: Shape): number {
    return 3 * (1 + blocksOf(shape));
  }

  constructor(
    readonly shape: Shape,
    readonly numbers: Float64Array,
  ) {
    const blocks = blocksOf(shape);
    this.#columns = Math.ceil(shape.widthPx / blockSidePx);
    const take = (k: number) => numbers.subarray(3 + k * blocks, 3 + (k + 1) * blocks);
    [this.differences, this.variances, this.counts] = [take(0), take(1), take(2)];
  }

  get evenOdd(): { readonly squares: number; readonly expected: number; readonly pixels: number } {
    const [squares, expected, pixels] = this.numbers as unknown as [number, number, number];
    return { squares, expected, pixels };
  }

  clear(): void {
    this.numbers.fill(0);
  }

  add(
    sums: QuarterSums,
    squareSum: Float32Array,
    { startPx, endPx }: { readonly startPx: number; readonly endPx: number },
  ): void {
    const quarter = (k: number) => sums.of(k, endPx - startPx);
    const [{ residuals: r0, weights: w0 }, { residuals: r1, weights: w1 }] = [quarter(0), quarter(1)];
    const [{ residuals: r2, weights: w2 }, { residuals: r3, weights: w3 }] = [quarter(2), quarter(3)];
    const { widthPx } = this.shape;
    let [squares, expected, pixels] = [0, 0, 0];
    for (let i = 0; i < endPx - startPx; i++) {
      const [even, odd] = [w0[i]! + w2[i]!, w1[i]! + w3[i]!];
      const [first, second] = [w0[i]! + w1[i]!, w2[i]! + w3[i]!];
      if (Math.min(even, odd, first, second) < leastWeight) continue;
      const px = startPx + i;
      const variance = squareSum[px]! / (first + second - 1);
      squares += ((r0[i]! + r2[i]!) / even - (r1[i]! + r3[i]!) / odd) ** 2;
      expected += variance * (1 / even + 1 / odd);
      pixels++;
      const x = px % widthPx;
      const row = (px - x) / widthPx;
      const block = Math.floor(row / blockSidePx) * this.#columns + Math.floor(x / blockSidePx);
      this.differences[block]! += (r0[i]! + r1[i]!) / first - (r2[i]! + r3[i]!) / second;
      this.variances[block]! += variance * (1 / first + 1 / second);
      this.counts[block]!++;
    }
    for (const [k, value] of [squares, expected, pixels].entries()) this.numbers[k]! += value;
  }
}

function blocksOf({ widthPx, heightPx }: Shape): number {
  return Math.ceil(widthPx / blockSidePx) * Math.ceil(heightPx / blockSidePx);
}
