import { mapInto } from "../numerics/map-into.ts";
/** A few thousand pixels of a frame, spread over it, taken out to be reckoned with by themselves. */
export class PixelSample {
  readonly #dark: Float32Array;

  /** @param px which ones, rising */
  constructor(
    readonly px: Uint32Array,
    darkAdu: Float32Array | undefined,
  ) {
    this.#dark = mapInto(new Float32Array(px.length), px, (i) => darkAdu?.[i] ?? 0);
  }

  get darkAdu(): Float32Array {
    return this.#dark;
  }

  /** @param taken where they go */
  of(frameAdu: Uint16Array, taken: Uint16Array = new Uint16Array(this.px.length)): Uint16Array {
    const { px } = this;
    for (let k = 0; k < px.length; k++) taken[k] = frameAdu[px[k]!]!;
    return taken;
  }
}
