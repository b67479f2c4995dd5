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
    const { widthPx, heightPx } = this.shape;
    for (let y = 0; y < heightPx; y++) {
      const row = Math.floor(y / this.sidePx) * this.columns;
      for (let column = 0; column < this.columns; column++) {
        const to = y * widthPx + Math.min(widthPx, (column + 1) * this.sidePx);
        let sum = 0;
        for (let i = y * widthPx + column * this.sidePx; i < to; i++)
          if (usePx[i] === 1) sum += frameAdu[i]! - darkAdu[i]!;
        sums[row + column]! += sum;
      }
    }
    return sums;
  }

  /** Sums per block of a picture and the number of pixels used, over pixels that are 1 in `usePx`. */
  sumPicture(picture: Float32Array, usePx: Uint8Array): { sums: Float64Array; counts: Uint32Array } {
    checkShape(picture, this.shape);
    const sums = new Float64Array(this.count);
    const counts = new Uint32Array(this.count);
    const { widthPx, heightPx } = this.shape;
    for (let y = 0; y < heightPx; y++) {
      const row = Math.floor(y / this.sidePx) * this.columns;
      for (let column = 0; column < this.columns; column++) {
        const to = y * widthPx + Math.min(widthPx, (column + 1) * this.sidePx);
        let sum = 0;
        let count = 0;
        for (let i = y * widthPx + column * this.sidePx; i < to; i++) {
          if (usePx[i] === 1) {
            sum += picture[i]!;
            count++;
          }
        }
        sums[row + column]! += sum;
        counts[row + column]! += count;
      }
    }
    return { sums, counts };
  }
}
