import { checkShape, type Shape } from "../numerics/shape.ts";

/** Plain mean of covered frames, and the level of each: it tells how far the pedestal wanders. */
export class FrameMean {
  readonly #sums: Float64Array;
  readonly #levels: number[] = [];

  constructor(
    readonly shape: Shape,
    private readonly unhealthyPx?: Uint8Array,
  ) {
    this.#sums = new Float64Array(shape.widthPx * shape.heightPx);
  }

  get frameCount(): number {
    return this.#levels.length;
  }

  /** Mean of each frame over healthy pixels [adu]. */
  get levelsAdu(): readonly number[] {
    return this.#levels;
  }

  add(pixelsAdu: Uint16Array): void {
    checkShape(pixelsAdu, this.shape);
    const sums = this.#sums;
    const unhealthy = this.unhealthyPx;
    let sum = 0;
    let count = 0;
    for (let i = 0; i < pixelsAdu.length; i++) {
      const value = pixelsAdu[i]!;
      sums[i]! += value;
      if (unhealthy === undefined || unhealthy[i] === 0) {
        sum += value;
        count++;
      }
    }
    this.#levels.push(count === 0 ? 0 : sum / count);
  }

  mean(): Float32Array {
    const mean = new Float32Array(this.#sums.length);
    const factor = 1 / Math.max(1, this.frameCount);
    for (let i = 0; i < mean.length; i++) mean[i] = this.#sums[i]! * factor;
    return mean;
  }
}
