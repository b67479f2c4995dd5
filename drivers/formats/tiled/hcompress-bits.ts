/** The bits of a tile of HCOMPRESS_1, from the highest of each byte on. */
export class HcompressBits {
  #bitsLeft = 0;

  constructor(
    readonly bytes: Uint8Array,
    private at: number,
  ) {}

  bit(): 0 | 1 {
    if (this.#bitsLeft === 0) {
      if (this.at >= this.bytes.length) throw new RangeError("the compressed bytes end too early");
      this.at++;
      this.#bitsLeft = 8;
    }
    this.#bitsLeft--;
    return ((this.bytes[this.at - 1]! >> this.#bitsLeft) & 1) as 0 | 1;
  }

  nibble(): number {
    return (this.bit() << 3) | (this.bit() << 2) | (this.bit() << 1) | this.bit();
  }

  alignToByte(): void {
    this.#bitsLeft = 0;
  }

  /** A code of 3 to 6 bits for the four bits of a square; those with one bit set are the shortest. */
  quad(): number {
    let code = (this.bit() << 2) | (this.bit() << 1) | this.bit();
    if (code < 4) return 1 << code;
    for (const table of [ofFour, ofFive]) {
      code = (code << 1) | this.bit();
      const value = table[code];
      if (value !== undefined) return value;
    }
    code = (code << 1) | this.bit();
    return code === 62 ? 0 : 14;
  }
}

const ofFour: Readonly<Record<number, number>> = { 8: 3, 9: 5, 10: 10, 11: 12, 12: 15 };
const ofFive: Readonly<Record<number, number>> = { 26: 6, 27: 7, 28: 9, 29: 11, 30: 13 };
