import { addSums, sumOfBytes } from "../../../drivers/formats/fits-checksum.ts";

/** FITS sum of frames that lie one after another. */
export class FrameSum {
  #sum = 0;
  #bytes = 0;

  add(frame: Uint8Array): void {
    this.#sum = addSums(this.#sum, sumOfBytes(frame, this.#bytes));
    this.#bytes += frame.length;
  }

  get value(): number {
    return this.#sum;
  }
}
