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
  /** Room for `#record`. */
  readonly #z: Float64Array;
  #frames = 0;

  /** @param levelsAdu of the pixels in a usual frame, and what is taken off them */
  constructor(
    levelsAdu: Float32Array,
    private readonly darkAdu: Float32Array,
    noise: NoiseByLevel,
  ) {
    const count = levelsAdu.length;
    this.#even = new Float64Array(count);
    this.#odd = new Float64Array(count);
    this.#sigma = new Float64Array(count);
    this.#z = new Float64Array(count);
    const relative = new Float64Array(count);
    for (let k = 0; k < count; k++) {
      const level = levelsAdu[k]!;
      this.#sigma[k] = Math.sqrt(noise.varianceAt(level));
      relative[k] = this.#sigma[k]! / level;
    }
    this.#relative = medianInPlace(relative) ?? 0;
  }

  get points(): readonly GrowthPoint[] {
    return this.#points;
  }

  /** @param samplesAdu those pixels of the next frame, raw */
  add(samplesAdu: Uint16Array, scale: number): void {
    const side = this.#frames % 2 === 0 ? this.#even : this.#odd;
    for (let k = 0; k < side.length; k++) side[k]! += (samplesAdu[k]! - this.darkAdu[k]!) / scale;
    this.#frames++;
    if (this.#frames % 2 === 0 && this.#frames >= 2) this.#record();
  }

  /** In units of each pixel's own sigma, so that bright and dim ones count alike; robust against a struck pixel. */
  #record(): void {
    const each = this.#frames / 2;
    const z = this.#z;
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
