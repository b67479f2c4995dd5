import { FrameNoise } from "../sensor/frame-noise.ts";

const SIZE = 512;
/** Typical cell size of the pattern in the tile [tile px]. */
const CELL = 6;

/** A seeded random pattern of one cell size, mean 0, rms 1, that repeats without a seam. */
export class TextureTile {
  static #last: { readonly seed: number; readonly tile: TextureTile } | undefined;
  readonly #tile: Float32Array;

  /** The tile of that seed; the last one is kept, because simulators are often started on the same scene. */
  static of(seed: number): TextureTile {
    if (TextureTile.#last?.seed !== seed) TextureTile.#last = { seed, tile: new TextureTile(seed) };
    return TextureTile.#last.tile;
  }

  private constructor(seed: number) {
    const raw = new Float32Array(SIZE * SIZE);
    new FrameNoise(seed, 0, 55).fillGauss(raw, raw.length);
    const fine = smoothPeriodic(raw, CELL / 4);
    const coarse = smoothPeriodic(raw, CELL / 2);
    let sum2 = 0;
    for (let i = 0; i < fine.length; i++) {
      fine[i]! -= coarse[i]!; // a band of sizes, not a heap of all larger ones
      sum2 += fine[i]! ** 2;
    }
    const scale = 1 / Math.sqrt(sum2 / fine.length);
    for (let i = 0; i < fine.length; i++) fine[i]! *= scale;
    this.#tile = fine;
  }

  /** Height at a place given in cells: two turned copies of the tile, so that its repetition does not show. */
  at(xCells: number, yCells: number): number {
    const x = xCells * CELL;
    const y = yCells * CELL;
    return (
      Math.SQRT1_2 *
      (this.#sample(x, y) + this.#sample(0.6 * x - 0.83 * y + 101.3, 0.83 * x + 0.6 * y + 33.7))
    );
  }

  #sample(x: number, y: number): number {
    const x0 = Math.floor(x);
    const y0 = Math.floor(y);
    const fx = x - x0;
    const fy = y - y0;
    const left = x0 & (SIZE - 1);
    const right = (x0 + 1) & (SIZE - 1);
    const top = (y0 & (SIZE - 1)) * SIZE;
    const bottom = ((y0 + 1) & (SIZE - 1)) * SIZE;
    const tile = this.#tile;
    return (
      (1 - fy) * ((1 - fx) * tile[top + left]! + fx * tile[top + right]!) +
      fy * ((1 - fx) * tile[bottom + left]! + fx * tile[bottom + right]!)
    );
  }
}

/** Gaussian smoothing on the torus. */
function smoothPeriodic(image: Float32Array, sigma: number): Float32Array {
  const reach = Math.ceil(3.5 * sigma);
  const weights = Array.from({ length: 2 * reach + 1 }, (_, i) =>
    Math.exp(-0.5 * ((i - reach) / sigma) ** 2),
  );
  const smoothAlong = (from: Float32Array, right: number, down: number) => {
    const out = new Float32Array(from.length);
    for (let y = 0; y < SIZE; y++) {
      for (let x = 0; x < SIZE; x++) {
        let sum = 0;
        for (let k = -reach; k <= reach; k++) {
          const at = ((y + k * down) & (SIZE - 1)) * SIZE + ((x + k * right) & (SIZE - 1));
          sum += weights[k + reach]! * from[at]!;
        }
        out[y * SIZE + x] = sum;
      }
    }
    return out;
  };
  return smoothAlong(smoothAlong(image, 1, 0), 0, 1);
}
