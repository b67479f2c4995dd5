import { medianInPlace } from "../numerics/order-statistics.ts";
import type { NoiseByLevel } from "./noise-by-level.ts";

/** Noise of the mean of so many frames, as a share of the level. */
export interface GrowthPoint {
  readonly frames: number;
  /** From the difference of even and odd frames. */
  readonly measured: number;
  /** What the noise of a single frame promises: falls with the root of the number. */
  readonly expected: number;
}

/**
 * Follows how the noise falls while frames come in, on a few thousand pixels.
 * The even frames' mean less the odd frames' has twice the noise of the mean of both, and nothing else in it.
 */
export class NoiseGrowth {
  readonly #points: GrowthPoint[] = [];
  readonly #even: Float64Array;
  readonly #odd: Float64Array;
  readonly #sigma: Float64Array;
  readonly #relative: number;
  #frames = 0;

  constructor(
    referenceAdu: Float32Array,
    private readonly darkAdu: Float32Array,
    private readonly samplePx: Uint32Array,
    noise: NoiseByLevel,
  ) {
    this.#even = new Float64Array(samplePx.length);
    this.#odd = new Float64Array(samplePx.length);
    this.#sigma = new Float64Array(samplePx.length);
    const relative = new Float64Array(samplePx.length);
    for (let k = 0; k < samplePx.length; k++) {
      const level = referenceAdu[samplePx[k]!]!;
      this.#sigma[k] = Math.sqrt(noise.varianceAt(level));
      relative[k] = this.#sigma[k]! / level;
    }
    this.#relative = medianInPlace(relative) ?? 0;
  }

  get points(): readonly GrowthPoint[] {
    return this.#points;
  }

  add(pixelsAdu: Uint16Array, scale: number): void {
    const side = this.#frames % 2 === 0 ? this.#even : this.#odd;
    for (let k = 0; k < this.samplePx.length; k++) {
      const i = this.samplePx[k]!;
      side[k]! += (pixelsAdu[i]! - this.darkAdu[i]!) / scale;
    }
    this.#frames++;
    if (this.#frames % 2 === 0 && this.#frames >= 2) this.#record();
  }

  /** In units of each pixel's own sigma, so that bright and dim ones count alike; robust against a struck pixel. */
  #record(): void {
    const each = this.#frames / 2;
    const z = new Float64Array(this.samplePx.length);
    for (let k = 0; k < z.length; k++) z[k] = (this.#even[k]! - this.#odd[k]!) / (2 * each * this.#sigma[k]!);
    const middle = medianInPlace(z) ?? 0;
    for (let k = 0; k < z.length; k++) z[k] = Math.abs(z[k]! - middle);
    const sigma = 1.4826 * (medianInPlace(z) ?? 0);
    this.#points.push({
      frames: this.#frames,
      measured: sigma * this.#relative,
      expected: this.#relative / Math.sqrt(this.#frames),
    });
  }
}
