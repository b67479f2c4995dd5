import { checkShape, type Shape } from "./shape.ts";

/** Sums over square blocks; blocks at the right and lower edge may be narrower. */
export class BlockMap {
  readonly columns: number;
  readonly rows: number;

  constructor(
    readonly shape: Shape,
    readonly sidePx: number,
  ) {
    this.columns = Math.ceil(shape.widthPx / sidePx);
    this.rows = Math.ceil(shape.heightPx / sidePx);
  }

  get count(): number {
    return this.columns * this.rows;
  }

  /** The block that a pixel lies in. */
  blockOf(i: number): number {
    const { widthPx } = this.shape;
    const x = i % widthPx;
    return Math.floor((i - x) / widthPx / this.sidePx) * this.columns + Math.floor(x / this.sidePx);
  }

  /** Sums per block of a frame less its dark, over pixels that are 1 in `usePx`. */
  sumFrame(frameAdu: Uint16Array, darkAdu: Float32Array, usePx: Uint8Array): Float64Array {
    checkShape(frameAdu, this.shape);
    const sums = new Float64Array(this.count);
    this.#forEachRun((block, from, to) => {
      let sum = 0;
      for (let i = from; i < to; i++) if (usePx[i] === 1) sum += frameAdu[i]! - darkAdu[i]!;
      sums[block]! += sum;
    });
    return sums;
  }

  /** Sums per block of a picture and the number of pixels used, over pixels that are 1 in `usePx`. */
  sumPicture(picture: Float32Array, usePx: Uint8Array): { sums: Float64Array; counts: Uint32Array } {
    checkShape(picture, this.shape);
    const sums = new Float64Array(this.count);
    const counts = new Uint32Array(this.count);
    this.#forEachRun((block, from, to) => {
      let sum = 0;
      for (let i = from; i < to; i++) {
        if (usePx[i] !== 1) continue;
        sum += picture[i]!;
        counts[block]!++;
      }
      sums[block]! += sum;
    });
    return { sums, counts };
  }

  /** Row by row, the pixels of a block in a row at once. */
  #forEachRun(visit: (block: number, from: number, to: number) => void): void {
    const { widthPx, heightPx } = this.shape;
    for (let y = 0; y < heightPx; y++)
      for (let column = 0; column < this.columns; column++) {
        const block = Math.floor(y / this.sidePx) * this.columns + column;
        const from = y * widthPx + column * this.sidePx;
        visit(block, from, Math.min((y + 1) * widthPx, from + this.sidePx));
      }
  }
}
