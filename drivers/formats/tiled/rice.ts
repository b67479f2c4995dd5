/**
 * RICE_1: differences of neighbours, in blocks that each have their own number of low bits.
 * Source: FITS Standard 4.0, section 10.4.1 (Rice et al. 1993; White and Becker 1998).
 */

/** Bits that tell a block's number of low bits, and the number that stands for differences stored whole. */
const codes = { 1: { bits: 3, whole: 6 }, 2: { bits: 4, whole: 14 }, 4: { bits: 5, whole: 25 } } as const;

/**
 * Values of one tile, modulo 2 to the bits of a value.
 * @param count pixels of the tile
 * @throws RangeError if the bytes end before them
 */
export function riceValues(
  bytes: Uint8Array,
  count: number,
  { bytesPerValue, blockPx }: { readonly bytesPerValue: 1 | 2 | 4; readonly blockPx: number },
): Int32Array {
  const { bits: codeBits, whole } = codes[bytesPerValue];
  const valueBits = 8 * bytesPerValue;
  const values = new Int32Array(count);
  const stream = new BitStream(bytes);
  let last = stream.take(valueBits);
  for (let start = 0; start < count; start += blockPx) {
    const end = Math.min(count, start + blockPx);
    const lowBits = stream.take(codeBits) - 1;
    if (lowBits < 0) {
      values.fill(last, start, end);
      continue;
    }
    for (let i = start; i < end; i++) {
      const mapped =
        lowBits === whole ? stream.take(valueBits) : (stream.zeros() << lowBits) | stream.take(lowBits);
      // Even numbers are differences from 0 on, odd ones those below.
      last = (last + (mapped & 1 ? ~(mapped >>> 1) : mapped >>> 1)) | 0;
      values[i] = last;
    }
  }
  return values;
}

/** Bits from the highest of each byte on. */
class BitStream {
  #at = 0;
  #held = 0;
  #heldBits = 0;

  constructor(readonly bytes: Uint8Array) {}

  /** The next bits as a number of 32 bits, 0 to 32 of them. */
  take(bits: number): number {
    if (bits > 24) return (this.take(bits - 16) << 16) | this.take(16);
    while (this.#heldBits < bits) this.#fill();
    this.#heldBits -= bits;
    const value = this.#held >>> this.#heldBits;
    this.#held &= (1 << this.#heldBits) - 1;
    return value;
  }

  /** How many zeros come before the next one, which is passed over. */
  zeros(): number {
    let count = 0;
    while (this.#held === 0) {
      count += this.#heldBits;
      this.#heldBits = 0;
      this.#fill();
    }
    const leading = Math.clz32(this.#held) - (32 - this.#heldBits);
    this.#heldBits -= leading + 1;
    this.#held &= (1 << this.#heldBits) - 1;
    return count + leading;
  }

  #fill(): void {
    if (this.#at >= this.bytes.length) throw new RangeError("the compressed bytes end too early");
    this.#held = (this.#held << 8) | this.bytes[this.#at++]!;
    this.#heldBits += 8;
  }
}
