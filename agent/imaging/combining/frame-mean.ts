import { checkShape, type Shape } from "../numerics/shape.ts";
import { type FrameSums, type MakeFrameSums, makeFrameSums, sumsAtOnce } from "./frame-sums.ts";

/** Plain mean of covered frames, and the level of each: it tells how far the pedestal wanders. */
export class FrameMean {
  readonly #sums: FrameSums;
  #mean: Float32Array | undefined;
  readonly #unhealthyPx: Uint32Array;
  readonly #levels: number[] = [];
  readonly #pending: Uint16Array[] = [];
  #released: Uint16Array[] = [];
  #frameCount = 0;

  constructor(
    readonly shape: Shape,
    unhealthyPx?: Uint8Array,
    makeSums: MakeFrameSums = makeFrameSums,
  ) {
    this.#sums = makeSums(shape.widthPx * shape.heightPx);
    this.#unhealthyPx = new Uint32Array(unhealthyPx?.keys().filter((px) => unhealthyPx[px] === 1) ?? []);
  }

  get frameCount(): number {
    return this.#frameCount;
  }

  /** Mean of each frame over healthy pixels [adu]. */
  get levelsAdu(): readonly number[] {
    this.#addPending();
    return this.#levels;
  }

  /** The array is kept until `released` tells of it. */
  add(pixelsAdu: Uint16Array): void {
    if (this.#mean) throw new Error("a frame after the mean was told");
    checkShape(pixelsAdu, this.shape);
    this.#frameCount++;
    this.#pending.push(pixelsAdu);
    if (this.#pending.length === sumsAtOnce) this.#addPending();
  }

  /** Frames taken since the last call of this that are not looked at any more: their memory may be used again. */
  released(): readonly Uint16Array[] {
    const released = this.#released;
    this.#released = [];
    return released;
  }

  /** Of all frames: no more can be added. */
  mean(): Float32Array {
    this.#mean ??= this.#finish();
    return this.#mean;
  }

  #finish(): Float32Array {
    this.#addPending();
    using summed = this.#sums;
    const mean = new Float32Array(summed.sums.length);
    const factor = 1 / Math.max(1, this.#frameCount);
    for (let i = 0; i < mean.length; i++) mean[i] = summed.sums[i]! * factor;
    return mean;
  }

  #addPending(): void {
    if (this.#pending.length === 0) return;
    const totals = this.#sums.add(this.#pending);
    const count = this.shape.widthPx * this.shape.heightPx - this.#unhealthyPx.length;
    for (const [k, pixels] of this.#pending.entries()) {
      const unhealthy = this.#unhealthyPx.reduce((sum, px) => sum + pixels[px]!, 0);
      this.#levels.push(count === 0 ? 0 : (totals[k]! - unhealthy) / count);
    }
    this.#released.push(...this.#pending.splice(0));
  }
}
