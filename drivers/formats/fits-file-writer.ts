import { closeSync, fsyncSync, ftruncateSync, openSync, rmSync } from "node:fs";
import { addSums, sumOfBytes } from "./fits-checksum.ts";
import { dataBytesOf, type HduPlan, headerBytes, paddedBytes } from "./fits-header-write.ts";
import { type FitsPixels, pixelTypeOf } from "./fits-pixels.ts";
import { encodePixels } from "./fits-write.ts";
import { partName, renameIntoPlace, writeFully } from "./whole-file.ts";

/**
 * A FITS file written part by part: pixels in any order, each once; headers last, since they hold the sums.
 * It gets its name only in `finish`; without that, disposing leaves nothing behind.
 */
export class FitsFileWriter implements Disposable {
  readonly #handle: number;
  readonly #dataSums: number[];
  readonly #headerStarts: number[] = [];
  readonly #headerLengths: number[] = [];
  /** Used again, for the runtime clears and collects every new array. */
  #encoded = new Uint8Array(0);
  #state: "open" | "finished" | "dropped" = "open";

  constructor(
    readonly path: string,
    readonly plans: readonly HduPlan[],
    readonly options: { readonly writtenUtcMs: number; readonly replace: boolean },
  ) {
    this.#dataSums = plans.map(() => 0);
    let start = 0;
    for (const [index, plan] of plans.entries()) {
      const length = this.#header(index).length;
      this.#headerStarts.push(start);
      this.#headerLengths.push(length);
      start += length + paddedBytes(dataBytesOf(plan));
    }
    this.#handle = openSync(partName(path), "w");
    ftruncateSync(this.#handle, start); // the padding of the data is zeros
  }

  /**
   * @param firstPixel where they start in the HDU's row-major pixels
   * @throws RangeError for pixels of another type than planned, or outside the shape
   */
  writePixels(hduIndex: number, firstPixel: number, pixels: FitsPixels): void {
    const plan = this.plans[hduIndex]!;
    if (pixelTypeOf(pixels) !== plan.type)
      throw new RangeError(`${pixelTypeOf(pixels)} pixels for an HDU of ${plan.type}`);
    const offset = firstPixel * pixels.BYTES_PER_ELEMENT;
    if (offset < 0 || offset + pixels.byteLength > dataBytesOf(plan))
      throw new RangeError("Pixels outside the shape");
    if (this.#encoded.length < pixels.byteLength) this.#encoded = new Uint8Array(pixels.byteLength);
    const bytes = this.#encoded.subarray(0, pixels.byteLength);
    encodePixels(pixels, bytes);
    this.#dataSums[hduIndex] = addSums(this.#dataSums[hduIndex]!, sumOfBytes(bytes, offset));
    writeFully(this.#handle, bytes, this.#headerStarts[hduIndex]! + this.#headerLengths[hduIndex]! + offset);
  }

  /** @throws an error with code EEXIST if the name is taken and `replace` is false */
  finish(): void {
    for (const [index, start] of this.#headerStarts.entries()) {
      const header = this.#header(index);
      if (header.length !== this.#headerLengths[index]) throw new RangeError("A header changed its length");
      writeFully(this.#handle, header, start);
    }
    fsyncSync(this.#handle);
    closeSync(this.#handle);
    this.#state = "finished";
    renameIntoPlace(this.path, this.options);
  }

  #header(index: number): Uint8Array {
    return headerBytes(this.plans[index]!, {
      index,
      hduCount: this.plans.length,
      writtenUtcMs: this.options.writtenUtcMs,
      dataSum: this.#dataSums[index]!,
    });
  }

  /** Drops the file unless it was finished. */
  [Symbol.dispose](): void {
    if (this.#state !== "open") return;
    this.#state = "dropped";
    closeSync(this.#handle);
    rmSync(partName(this.path), { force: true });
  }
}
