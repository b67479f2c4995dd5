import { bytesOf, layout, startKernel, u16, u32 } from "../../../drivers/kit/kernels/host.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";

/** Columns and rows of a block. */
export const blockSidePx = 32;
/** Columns and rows of a cell; the kernel's loop is made for it. */
export const cellSidePx = 8;
/** Cells along a block. */
export const cellsOfBlock = blockSidePx / cellSidePx;
/** Of frames so large, every second row is enough; of twice as large ones every fourth, and so on to every eighth. */
const fullRowsPx = 4_000_000;
const rowStepMost = 8;

/** The loop over one row. */
export interface RowAdder extends Disposable {
  /** The frame whose rows will be added. */
  begin(frameAdu: Uint16Array): void;
  /** Adds what the row's pixels that count come to, to the sums of the cells that they lie in. */
  add(startPx: number, sampledRow: number): void;
  /** The sums so far, into `sums` from `at` on, and zero again. */
  take(sums: Float64Array, at: number): void;
}

export type MakeRowAdder = (columns: number, widthPx: number, use: Uint8Array) => RowAdder;

/**
 * Sums over square cells, and over blocks of cells, of a frame less its dark, of the pixels that count on some of its rows:
 * a share of a large frame tells its level and its evenness well enough, and reading all of it would cost as much as adding
 * it up.
 */
export class BlockSample implements Disposable {
  readonly columns: number;
  readonly rows: number;
  /** Of a frame's rows one in so many. */
  readonly rowStep: number;
  /** Pixels that count, per block. */
  readonly counts: Uint32Array;
  /** Pixels that count, per cell: `cellsOfBlock` times as many rows and columns as there are of blocks. */
  readonly cellCounts: Uint32Array;
  readonly #cellDark: Float64Array;
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
    const cells = this.columns * this.rows * cellsOfBlock ** 2;
    this.cellCounts = new Uint32Array(cells);
    this.#cellDark = new Float64Array(cells);
    const use = new Uint8Array(widthPx * Math.ceil(heightPx / this.rowStep));
    for (let row = 0, y = 0; y < heightPx; row++, y += this.rowStep) {
      const firstCell = Math.floor(y / cellSidePx) * this.cellColumns;
      for (let x = 0; x < widthPx; x++) {
        const px = y * widthPx + x;
        if (!counts(px)) continue;
        use[row * widthPx + x] = 1;
        this.cellCounts[firstCell + (x >> 3)]!++;
        if (darkAdu) this.#cellDark[firstCell + (x >> 3)]! += darkAdu[px]!;
      }
    }
    this.counts = this.addCells(this.cellCounts, new Uint32Array(this.columns * this.rows));
    this.#adder = makeAdder(this.columns, widthPx, use);
  }

  get cellColumns(): number {
    return this.columns * cellsOfBlock;
  }

  /** No more sums will be asked for. */
  [Symbol.dispose](): void {
    this.#adder[Symbol.dispose]();
  }

  /** Blocks that hold enough pixels to be compared: a quarter of a full one's. */
  isUsable(block: number): boolean {
    return this.counts[block]! > (blockSidePx * blockSidePx) / this.rowStep / 4;
  }

  /** Whether a cell holds enough pixels to be compared: a quarter of a full one's. */
  isCellUsable(cell: number): boolean {
    return this.cellCounts[cell]! > (cellSidePx * cellSidePx) / this.rowStep / 4;
  }

  /** @param cells where the sums over cells go */
  sumsOf(
    frameAdu: Uint16Array,
    cells: Float64Array = new Float64Array(this.cellCounts.length),
  ): Float64Array {
    checkShape(frameAdu, this.shape);
    const { widthPx, heightPx } = this.shape;
    this.#adder.begin(frameAdu);
    for (let row = 0, y = 0; y < heightPx; row++, y += this.rowStep) {
      this.#adder.add(y * widthPx, row);
      const lastOfCell = y + this.rowStep >= heightPx || (y + this.rowStep) % cellSidePx === 0;
      if (lastOfCell) this.#adder.take(cells, Math.floor(y / cellSidePx) * this.cellColumns);
    }
    for (let c = 0; c < cells.length; c++) cells[c]! -= this.#cellDark[c]!;
    return cells;
  }

  /** @param blocks where the sums over blocks go */
  addCells<Sums extends Float64Array | Uint32Array>(cells: Sums, blocks: Sums): Sums {
    blocks.fill(0);
    for (let row = 0, c = 0; row < this.rows * cellsOfBlock; row++) {
      const firstBlock = Math.floor(row / cellsOfBlock) * this.columns;
      for (let b = firstBlock; b < firstBlock + this.columns; b++)
        for (const end = c + cellsOfBlock; c < end; c++) blocks[b]! += cells[c]!;
    }
    return blocks;
  }
}

/** By SIMD in WebAssembly. */
export const makeRowAdder: MakeRowAdder = (columns, widthPx, use) => {
  const all = use.every((one) => one === 1);
  const rowPx = blockSidePx * columns;
  const cells = columns * cellsOfBlock;
  const sampledRows = all ? 0 : use.length / widthPx;
  const room = layout({
    row: u16(rowPx),
    sums: u32(4 * cells),
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
      for (let c = 0; c < cells; c++)
        sums[from + c] = four[4 * c]! + four[4 * c + 1]! + four[4 * c + 2]! + four[4 * c + 3]!;
      four.fill(0);
    },
    [Symbol.dispose]: room[Symbol.dispose],
  };
};
