/** Arrays that many images of one size pass through one at a time: what lies in them is good until the next. */
export class PixelRoom {
  #image = new Float32Array(0);
  #reals = new Float32Array(0);
  #counts = new Uint16Array(0);

  image(length: number): Float32Array<ArrayBuffer> {
    if (this.#image.length !== length) this.#image = new Float32Array(length);
    return this.#image;
  }

  reals(length: number): Float32Array<ArrayBuffer> {
    if (this.#reals.length !== length) this.#reals = new Float32Array(length);
    return this.#reals;
  }

  counts(length: number): Uint16Array<ArrayBuffer> {
    if (this.#counts.length !== length) this.#counts = new Uint16Array(length);
    return this.#counts;
  }
}
