/** How many buffers are kept: as many as a series lets go at once. */
const sparesMax = 12;

/**
 * Memory of frames that nobody needs any more, for the next ones: touching fresh memory for the first time costs more
 * than decoding a frame into it.
 */
export class SpareMemory {
  #spares: ArrayBuffer[] = [];
  readonly #lent = new WeakSet<ArrayBufferLike>();

  /**
   * @returns as many bytes, of any content: what is not overwritten must not be given out. The buffer below may be
   *   longer by an eighth.
   */
  take(byteCount: number): Uint8Array<ArrayBuffer> {
    const at = this.#spares.findIndex(
      ({ byteLength }) => byteLength >= byteCount && byteLength <= byteCount * 1.125,
    );
    const [spare] = at < 0 ? [] : this.#spares.splice(at, 1);
    // Not cleared first, which would cost as much as decoding.
    const buffer = spare ?? Buffer.allocUnsafeSlow(byteCount).buffer;
    this.#lent.add(buffer);
    return new Uint8Array(buffer, 0, byteCount);
  }

  /**
   * Takes memory back that was taken here, and nothing else: others may share it. Whoever still looks at it sees an
   * empty array from now on, never another frame's pixels.
   */
  giveBack({ buffer }: ArrayBufferView): void {
    if (!(buffer instanceof ArrayBuffer) || !this.#lent.delete(buffer)) return;
    this.#spares = [buffer.transfer(), ...this.#spares].slice(0, sparesMax);
  }
}
