import { median } from "../../imaging/numerics/order-statistics.ts";

/** About 100 000 pixels spread over a picture that passes by in tiles: enough for medians to one part in 300. */
export class FigureSample {
  readonly #everyPx: number;
  readonly #values: number[] = [];
  readonly #sigmas: number[] = [];

  constructor(pxCount: number) {
    this.#everyPx = Math.max(1, Math.floor(pxCount / 100_000)) | 1; // odd, so that it drifts over the columns
  }

  add(startPx: number, tile: { value: Float32Array; sigma: Float32Array; mask: Uint8Array }): void {
    const skip = (this.#everyPx - (startPx % this.#everyPx)) % this.#everyPx;
    for (let i = skip; i < tile.value.length; i += this.#everyPx) {
      if (tile.mask[i] !== 0) continue;
      this.#values.push(tile.value[i]!);
      if (!Number.isNaN(tile.sigma[i]!)) this.#sigmas.push(tile.sigma[i]!);
    }
  }

  medianValue(): number | undefined {
    return median(this.#values);
  }

  medianSigma(): number | undefined {
    return median(this.#sigmas);
  }
}
