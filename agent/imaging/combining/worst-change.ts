import type { NoiseByLevel } from "../noise/noise-by-level.ts";
import type { ChangeFinder, PlaceOfChange } from "../noise/series-halves.ts";
import { type BlockSample, cellSidePx, cellsOfBlock } from "./block-sample.ts";

/** Both parts of the frames must show a change by so many sigma: of a million cells one in a hundred series does by chance. */
const significantSigma = 4.5;

type Blocks = Pick<BlockSample, "columns" | "rows" | "counts" | "cellCounts" | "isCellUsable" | "addCells">;

/**
 * Looks for what moved in the rig while a series was taken: a small place that is another in the second half than in the
 * first, held against what is round about, so that light that wanders over the field is none. Every second frame is summed
 * apart and both sums must show it: a particle that hits one frame is no change of the rig.
 */
export class WorstChange implements ChangeFinder {
  readonly #blocks: Blocks;
  readonly #noise: NoiseByLevel;
  /** By half, then by turn. */
  readonly #sums: readonly (readonly [Float64Array, Float64Array])[];
  readonly #frames = [
    [0, 0],
    [0, 0],
  ];

  constructor(blocks: Blocks, noise: NoiseByLevel) {
    this.#blocks = blocks;
    this.#noise = noise;
    const cells = () => new Float64Array(blocks.cellCounts.length);
    this.#sums = [
      [cells(), cells()],
      [cells(), cells()],
    ];
  }

  add(cellSums: Float64Array, scale: number, half: 0 | 1): void {
    const frames = this.#frames[half]!;
    const turn = frames[0]! > frames[1]! ? 1 : 0;
    frames[turn]!++;
    const into = this.#sums[half]![turn]!;
    for (let c = 0; c < into.length; c++) into[c]! += cellSums[c]! / scale;
  }

  /** @returns `undefined` with fewer than two frames in either half, or where none of the field is lit */
  find(): PlaceOfChange | undefined {
    const { cellCounts, columns } = this.#blocks;
    if (this.#frames.flat().some((count) => count === 0)) return undefined;
    const cellColumns = columns * cellsOfBlock;
    const turns = [this.#changes(0), this.#changes(1)] as const;
    let worst: PlaceOfChange | undefined;
    for (let c = 0; c < cellCounts.length; c++) {
      if (!this.#blocks.isCellUsable(c)) continue;
      const [a, b] = [turns[0].change[c]!, turns[1].change[c]!];
      const sigmas = Math.min(Math.abs(a) / turns[0].sigma[c]!, Math.abs(b) / turns[1].sigma[c]!);
      const change = a * b > 0 && sigmas > significantSigma ? Math.min(Math.abs(a), Math.abs(b)) : 0;
      if (worst && change <= worst.change) continue;
      worst = {
        change,
        sigma: Math.hypot(turns[0].sigma[c]!, turns[1].sigma[c]!) / 2,
        xPx: ((c % cellColumns) + 0.5) * cellSidePx,
        yPx: (Math.floor(c / cellColumns) + 0.5) * cellSidePx,
      };
    }
    return worst;
  }

  /** Of one turn: what each cell's ratio of the halves differs by from that of the blocks round about, and one sigma of it. */
  #changes(turn: 0 | 1): { readonly change: Float64Array; readonly sigma: Float64Array } {
    const { cellCounts, columns } = this.#blocks;
    const [first, second] = [this.#sums[0]![turn], this.#sums[1]![turn]];
    const [n1, n2] = [this.#frames[0]![turn]!, this.#frames[1]![turn]!];
    const about = this.#ratiosRoundAbout(first, second);
    const change = new Float64Array(cellCounts.length);
    const sigma = new Float64Array(cellCounts.length);
    const cellColumns = columns * cellsOfBlock;
    for (let c = 0; c < change.length; c++) {
      const count = cellCounts[c]!;
      const block =
        Math.floor(Math.floor(c / cellColumns) / cellsOfBlock) * columns +
        Math.floor((c % cellColumns) / cellsOfBlock);
      if (count === 0 || !(first[c]! > 0) || !(second[c]! > 0)) continue;
      const levelAdu = (first[c]! + second[c]!) / (n1 + n2) / count;
      change[c] = first[c]! / second[c]! / about[block]! - 1;
      sigma[c] = Math.sqrt((this.#noise.varianceAt(levelAdu) / count / levelAdu ** 2) * (1 / n1 + 1 / n2));
    }
    return { change, sigma };
  }

  /** Of each block and its neighbours, first over second. */
  #ratiosRoundAbout(first: Float64Array, second: Float64Array): Float64Array {
    const { columns, rows, counts } = this.#blocks;
    const [a, b] = [first, second].map((cells) =>
      this.#blocks.addCells(cells, new Float64Array(counts.length)),
    ) as [Float64Array, Float64Array];
    const ratios = new Float64Array(counts.length);
    for (let row = 0; row < rows; row++)
      for (let column = 0; column < columns; column++) {
        let [sumA, sumB] = [0, 0];
        for (let y = Math.max(0, row - 1); y <= Math.min(rows - 1, row + 1); y++)
          for (let x = Math.max(0, column - 1); x <= Math.min(columns - 1, column + 1); x++) {
            sumA += a[y * columns + x]!;
            sumB += b[y * columns + x]!;
          }
        ratios[row * columns + column] = sumA / sumB;
      }
    return ratios;
  }
}
