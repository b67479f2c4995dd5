import { FitsFileWriter } from "../../../drivers/formats/fits-file-writer.ts";
import type { HduPlan } from "../../../drivers/formats/fits-header-write.ts";
import { median } from "../../imaging/numerics/order-statistics.ts";
import { TrustedCount } from "../../imaging/proof/trusted-part.ts";
import { explainFileErrors } from "../input-error.ts";
import type { MasterRequest } from "./open-series.ts";

/** What a master holds of some pixels in a row. */
export interface MasterPixels {
  readonly value: Float32Array;
  readonly sigma: Float32Array;
  readonly mask: Uint8Array;
}

/** A master on its way into a file, tile by tile; without `finish`, disposing leaves nothing behind. */
export class MasterFile implements Disposable {
  readonly #writer: FitsFileWriter;
  /** About 100 000 pixels spread over the picture: enough for medians to one part in 300. */
  readonly #everyPx: number;
  readonly #values: number[] = [];
  readonly #sigmas: number[] = [];
  readonly #trusted = new TrustedCount();

  /** @param plans value, UNCERT, MASK @throws InputError */
  constructor(request: MasterRequest, plans: readonly HduPlan[]) {
    this.#writer = explainFileErrors(
      request.output,
      () => new FitsFileWriter(request.output, plans, request),
    );
    const pxCount = plans[0]!.shape.reduce((product, length) => product * length, 1);
    this.#everyPx = Math.max(1, Math.floor(pxCount / 100_000)) | 1; // odd, so that it drifts over the columns
  }

  /** @throws InputError */
  write(startPx: number, { value, sigma, mask }: MasterPixels): void {
    this.#trusted.add(mask);
    const skip = (this.#everyPx - (startPx % this.#everyPx)) % this.#everyPx;
    for (let i = skip; i < value.length; i += this.#everyPx) {
      if (mask[i] !== 0) continue;
      this.#values.push(value[i]!);
      if (!Number.isNaN(sigma[i]!)) this.#sigmas.push(sigma[i]!);
    }
    explainFileErrors(this.#writer.path, () => {
      for (const [hduIndex, pixels] of [value, sigma, mask].entries())
        this.#writer.writePixels(hduIndex, startPx, pixels);
    });
  }

  /**
   * Gives the file its name.
   * @param unitAdu what a value of 1 stands for
   * @returns medians over trusted pixels, and for what part of the frame they speak
   * @throws InputError
   */
  finish(unitAdu = 1) {
    explainFileErrors(this.#writer.path, () => this.#writer.finish());
    const [value, sigma] = [median(this.#values), median(this.#sigmas)];
    return {
      output: this.#writer.path,
      levelAdu: value === undefined ? undefined : value * unitAdu,
      noiseAdu: sigma === undefined ? undefined : sigma * unitAdu,
      maskedPx: this.#trusted.maskedPx,
      trusted: this.#trusted.judge(),
    };
  }

  [Symbol.dispose](): void {
    this.#writer[Symbol.dispose]();
  }
}
