import { mapInto } from "../numerics/map-into.ts";
import type { NoiseByLevel } from "./noise-by-level.ts";

export interface HalvesFigures {
  readonly firstFrames: number;
  readonly secondFrames: number;
  /** Rms over blocks of first over second half, what noise explains taken off; a share of the level. */
  readonly driftRms: number;
  /** One sigma of that figure. */
  readonly driftSigma: number;
  /** The rms that noise alone makes. */
  readonly noiseRms: number;
  readonly blockSidePx: number;
  /** Where the halves differ most on a small scale; left out where nothing looked. */
  readonly worst?: PlaceOfChange;
}

/** A place that is another in the second half of a series than in the first. */
export interface PlaceOfChange {
  /** First over second half less what is round about, a share of the level; 0 where nothing differs beyond chance. */
  readonly change: number;
  /** Of that, one sigma. */
  readonly sigma: number;
  readonly xPx: number;
  readonly yPx: number;
}

/** Sums the small parts of frames in both halves of a series. */
export interface ChangeFinder {
  add(cellSums: Float64Array, scale: number, half: 0 | 1): void;
  find(): PlaceOfChange | undefined;
}

/** A frame is uneven when its blocks scatter this many times more than noise lets them … */
const unevenTimes = 3;
/** … and by more than this share of the level: finer unevenness averages out. */
const unevenShare = 0.003;

/** Fewer tell nothing of how blocks scatter. */
const blocksLeast = 4;

/** What is known of the blocks of a series. */
export interface SeriesBlocks {
  readonly sidePx: number;
  /** Pixels summed, per block. */
  readonly counts: Uint32Array;
  /** Whether a block holds enough of them. */
  readonly isUsable: (block: number) => boolean;
  /** Sums of a usual frame, dark taken off. */
  readonly reference: Float64Array;
}

/** Large scales over time: refuses a frame with a cloud's edge in it, and compares the halves of the series. */
export class SeriesHalves {
  readonly #reference: Float64Array;
  readonly #variance: Float64Array;
  readonly #usable: boolean[];
  readonly #first: Float64Array;
  readonly #second: Float64Array;
  #firstFrames = 0;
  #secondFrames = 0;

  constructor(
    private readonly blocks: SeriesBlocks,
    noise: NoiseByLevel,
    private frameCountExpected: number,
    private readonly changes: ChangeFinder,
  ) {
    const { reference, counts, isUsable } = blocks;
    this.#reference = reference;
    this.#usable = Array.from(reference, (sum, b) => isUsable(b) && sum > 0);
    this.#variance = mapInto(
      new Float64Array(counts.length),
      counts,
      (count, b) => count * noise.varianceAt(reference[b]! / Math.max(1, count)),
    );
    this.#first = new Float64Array(reference.length);
    this.#second = new Float64Array(reference.length);
  }

  /** A series that turns out longer or shorter than was thought: where its middle will be. */
  expect(frameCount: number): void {
    this.frameCountExpected = frameCount;
  }

  /** @param sums of the frame's blocks, dark taken off */
  hasUniformLight(sums: Float64Array, scale: number): boolean {
    let zz = 0;
    let rr = 0;
    let n = 0;
    for (let b = 0; b < sums.length; b++) {
      if (!this.#usable[b]) continue;
      const difference = sums[b]! / scale - this.#reference[b]!;
      zz += difference ** 2 / (this.#variance[b]! * 1.13); // the reference, a median of 12, has noise too
      rr += (difference / this.#reference[b]!) ** 2;
      n++;
    }
    if (n === 0) return true;
    return Math.sqrt(zz / n) <= unevenTimes || Math.sqrt(rr / n) <= unevenShare;
  }

  add(sums: Float64Array, cellSums: Float64Array, scale: number): void {
    const inFirst = this.#firstFrames < this.frameCountExpected / 2;
    const side = inFirst ? this.#first : this.#second;
    for (let b = 0; b < sums.length; b++) side[b]! += sums[b]! / scale;
    this.changes.add(cellSums, scale, inFirst ? 0 : 1);
    if (inFirst) this.#firstFrames++;
    else this.#secondFrames++;
  }

  /** `undefined` while one half is empty or too little of the field is lit. */
  figures(): HalvesFigures | undefined {
    const [n1, n2] = [this.#firstFrames, this.#secondFrames];
    const ratios: number[] = [];
    const noises: number[] = [];
    for (let b = 0; b < this.#reference.length; b++) {
      if (!this.#usable[b]) continue;
      ratios.push(this.#first[b]! / n1 / (this.#second[b]! / n2));
      noises.push((this.#variance[b]! / this.#reference[b]! ** 2) * (1 / n1 + 1 / n2));
    }
    if (n1 === 0 || n2 === 0 || ratios.length < blocksLeast) return undefined;
    const mean = ratios.reduce((a, b) => a + b) / ratios.length;
    const worst = this.changes.find();
    return halvesOfBlocks(
      ratios.map((ratio) => ratio / mean - 1),
      noises,
      { firstFrames: n1, secondFrames: n2, blockSidePx: this.blocks.sidePx, ...(worst ? { worst } : {}) },
    );
  }
}

/**
 * Rms of what two halves of a series differ by, over blocks.
 * @param differences relative, one for each block; what they have in common counts for nothing
 * @param noises variance that noise gives each of them
 * @returns `undefined` for too few blocks
 */
export function halvesOfBlocks(
  differences: readonly number[],
  noises: readonly number[],
  of: Pick<HalvesFigures, "firstFrames" | "secondFrames" | "blockSidePx" | "worst">,
): HalvesFigures | undefined {
  const blocks = differences.length;
  if (blocks < blocksLeast) return undefined;
  const mean = differences.reduce((a, b) => a + b) / blocks;
  const variance = differences.reduce((sum, d) => sum + (d - mean) ** 2, 0) / (blocks - 1);
  const noise = noises.reduce((a, b) => a + b) / blocks;
  const driftRms = Math.sqrt(Math.max(0, variance - noise));
  const varianceSigma = variance * Math.sqrt(2 / (blocks - 1));
  return {
    ...of,
    driftRms,
    driftSigma: driftRms > 0 ? varianceSigma / (2 * driftRms) : Math.sqrt(varianceSigma),
    noiseRms: Math.sqrt(noise),
  };
}
