import { bytesOf, layout, startKernel, u16, u32 } from "../../../drivers/kit/kernels/host.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";

/** Columns and rows of a block; the kernel's loop is made for it. */
export const blockSidePx = 32;
/** Of frames so large, every second row is enough; of twice as large ones every fourth, and so on to every eighth. */
const fullRowsPx = 4_000_000;
const rowStepMost = 8;

/** The loop over one row. */
export interface RowAdder extends Disposable {
  /** The frame whose rows will be added. */
  begin(frameAdu: Uint16Array): void;
  /** Adds what the row's pixels that count come to, to the sums of the blocks that they lie in. */
  add(startPx: number, sampledRow: number): void;
  /** The sums so far, into `sums` from `at` on, and zero again. */
  take(sums: Float64Array, at: number): void;
}

export type MakeRowAdder = (columns: number, widthPx: number, use: Uint8Array) => RowAdder;

/**
 * Sums over square blocks of a frame less its dark, of the pixels that count on some of its rows: a share of a large frame
 * tells its level and its evenness well enough, and reading all of it would cost as much as adding it up.
 */
export class BlockSample implements Disposable {
  readonly columns: number;
  readonly rows: number;
  /** Of a frame's rows one in so many. */
  readonly rowStep: number;
  /** Pixels that count, per block. */
  readonly counts: Uint32Array;
  readonly #dark: Float64Array;
  readonly #adder: RowAdder;

  /** @param counts whether a pixel does; asked for those of sampled rows only */
  constructor(
    readonly shape: Shape,
    darkAdu: Float32Array | undefined,
    counts: (px: number) => boolean,
    makeAdder: MakeRowAdder = makeRowAdder,
  ) {
    const { widthPx, heightPx } = shape;
    this.columns = Math.ceil(widthPx / blockSidePx);
    this.rows = Math.ceil(heightPx / blockSidePx);
    this.rowStep = 1;
    while (this.rowStep < rowStepMost && widthPx * heightPx > fullRowsPx * this.rowStep) this.rowStep *= 2;
    this.counts = new Uint32Array(this.columns * this.rows);
    this.#dark = new Float64Array(this.columns * this.rows);
    const use = new Uint8Array(widthPx * Math.ceil(heightPx / this.rowStep));
    for (let row = 0, y = 0; y < heightPx; row++, y += this.rowStep) {
      const block = Math.floor(y / blockSidePx) * this.columns;
      for (let x = 0; x < widthPx; x++) {
        const px = y * widthPx + x;
        if (!counts(px)) continue;
        use[row * widthPx + x] = 1;
        this.counts[block + (x >> 5)]!++;
        if (darkAdu) this.#dark[block + (x >> 5)]! += darkAdu[px]!;
      }
    }
    this.#adder = makeAdder(this.columns, widthPx, use);
  }

  /** No more sums will be asked for. */
  [Symbol.dispose](): void {
    this.#adder[Symbol.dispose]();
  }

  /** Blocks that hold enough pixels to be compared: a quarter of a full one's. */
  isUsable(block: number): boolean {
    return this.counts[block]! > (blockSidePx * blockSidePx) / this.rowStep / 4;
  }

  /** @param sums where they go */
  sumsOf(frameAdu: Uint16Array, sums: Float64Array = new Float64Array(this.counts.length)): Float64Array {
    checkShape(frameAdu, this.shape);
    const { widthPx, heightPx } = this.shape;
    this.#adder.begin(frameAdu);
    for (let row = 0, y = 0; y < heightPx; row++, y += this.rowStep) {
      this.#adder.add(y * widthPx, row);
      const lastOfBlock = y + this.rowStep >= heightPx || (y + this.rowStep) % blockSidePx === 0;
      if (lastOfBlock) this.#adder.take(sums, Math.floor(y / blockSidePx) * this.columns);
    }
    for (let b = 0; b < sums.length; b++) sums[b]! -= this.#dark[b]!;
    return sums;
  }
}

/** By SIMD in WebAssembly. */
export const makeRowAdder: MakeRowAdder = (columns, widthPx, use) => {
  const all = use.every((one) => one === 1);
  const rowPx = blockSidePx * columns;
  const sampledRows = all ? 0 : use.length / widthPx;
  const room = layout({
    row: u16(rowPx),
    sums: u32(4 * columns),
    use: u16(sampledRows * rowPx),
  });
  const { memory, at, views, bytes } = room;
  const kernel = startKernel("block-sums", memory);
  for (let row = 0; row < sampledRows; row++)
    for (let x = 0; x < widthPx; x++) views.use[row * rowPx + x] = use[row * widthPx + x] === 1 ? 0xffff : 0;
  let source = bytesOf(new Uint8Array(0));
  return {
    begin(frameAdu) {
      source = bytesOf(frameAdu);
    },
    add(startPx, sampledRow) {
      // Behind the row lie zeros, up to the end of the last block.
      source.copy(bytes, at.row, 2 * startPx, 2 * (startPx + widthPx));
      kernel.addRow(at.row, all ? 0 : at.use + 2 * sampledRow * rowPx, columns, at.sums);
    },
    take(sums, from) {
      const four = views.sums;
      for (let b = 0; b < columns; b++)
        sums[from + b] = four[4 * b]! + four[4 * b + 1]! + four[4 * b + 2]! + four[4 * b + 3]!;
      four.fill(0);
    },
    [Symbol.dispose]: room[Symbol.dispose],
  };
};
