import type { SpareMemory } from "../../kit/spare-memory.ts";
import { decodePlain, textBytesMax } from "./decode-base64.ts";

/** What came of one BLOB's text. */
export type BlobOutcome = { readonly bytes: Uint8Array } | { readonly broken: string };

/** Longest piece of base64 decoded at once: it stays in the processor's cache. */
const pieceBytes = Math.min(32 * 1024, textBytesMax);
const equalsSign = 0x3d;

/**
 * Decodes base64 as it arrives, in chunks cut anywhere, straight into the buffer that becomes the BLOB.
 * Line breaks and blanks are skipped. At most three characters of text are held.
 */
export class BlobText {
  #target: Uint8Array<ArrayBuffer>;
  #filled = 0;
  #textBytes = 0;
  readonly #group = Buffer.alloc(4);
  #groupBytes = 0;
  #padded = false;
  #broken: string | undefined;

  readonly #lenBytes: number | undefined;
  readonly #enclen: number | undefined;
  readonly #limitBytes: number;
  readonly #memory: SpareMemory;

  /**
   * @param declared what the element's attributes say: `len` bytes of payload are kept and no more; without it all,
   *   with `size` and `enclen` (characters of text) only taken as what to make room for
   */
  constructor(
    declared: { len: number | undefined; size: number | undefined; enclen: number | undefined },
    limitBytes: number,
    memory: SpareMemory,
  ) {
    this.#memory = memory;
    this.#lenBytes = declared.len;
    this.#enclen = declared.enclen;
    this.#limitBytes = limitBytes;
    const roomBytes =
      declared.len ?? (declared.enclen === undefined ? declared.size : (declared.enclen * 3) / 4) ?? 65_536;
    if (roomBytes > limitBytes) this.#fail(`${roomBytes} bytes declared, ${limitBytes} allowed`);
    this.#target = this.#room(this.#broken === undefined ? roomBytes : 0);
  }

  get failed(): boolean {
    return this.#broken !== undefined;
  }

  write(bytes: Buffer, start: number, end: number): void {
    this.#textBytes += end - start;
    let at = start;
    while (at < end && !this.#done()) {
      if (this.#groupBytes > 0) at = this.#writeToGroup(bytes, at);
      else at = this.#writePiece(bytes, at, end);
    }
    if (this.#padded && !this.#enough() && hasText(bytes, at, end)) this.#fail("text after its padding");
  }

  end(): BlobOutcome {
    if (this.#groupBytes > 0 && !this.#done()) {
      // The padding may be missing at the end.
      if (this.#groupBytes === 1 || this.#group.subarray(0, this.#groupBytes).includes(equalsSign)) {
        this.#fail("its last characters are missing");
      } else {
        this.#decode(this.#group.toString("latin1", 0, this.#groupBytes), "loose");
      }
    }
    if (this.#broken === undefined && this.#lenBytes !== undefined && this.#filled < this.#lenBytes) {
      this.#fail(`${this.#filled} of ${this.#lenBytes} bytes came`);
    }
    if (this.#broken === undefined && this.#lenBytes === undefined && this.#textBytes < (this.#enclen ?? 0)) {
      this.#fail(`${this.#textBytes} of ${this.#enclen} characters came`);
    }
    if (this.#broken !== undefined) return { broken: this.#broken };
    return { bytes: this.#target.subarray(0, this.#lenBytes ?? this.#filled) };
  }

  #enough(): boolean {
    return this.#lenBytes !== undefined && this.#filled >= this.#lenBytes;
  }

  #done(): boolean {
    return this.#broken !== undefined || this.#padded || this.#enough();
  }

  #writeToGroup(bytes: Buffer, at: number): number {
    const byte = bytes[at]!;
    if (!isBlank(byte)) this.#group[this.#groupBytes++] = byte;
    if (this.#groupBytes === 4) {
      this.#groupBytes = 0;
      const read = this.#decode(this.#group.toString("latin1", 0, 4));
      if (read !== 4 && !this.#done()) this.#fail("its text is not base64");
    }
    return at + 1;
  }

  #writePiece(bytes: Buffer, from: number, end: number): number {
    const roomChars = Math.floor((this.#target.length - this.#filled) / 3) * 4;
    const to = Math.min(end, from + pieceBytes, from + Math.max(roomChars, 64));
    let at = from;
    if (roomChars >= to - from) {
      const plain = decodePlain(bytes.subarray(from, to));
      this.#target.set(plain, this.#filled);
      this.#filled += plain.length;
      at += (plain.length / 3) * 4;
    }
    if (at === to || this.#done()) return at;
    at += this.#decode(bytes.toString("latin1", at, to));
    if (this.#done()) return at;
    for (; at < to; at++) if (!isBlank(bytes[at]!)) this.#group[this.#groupBytes++] = bytes[at]!;
    return to;
  }

  /** @returns how many characters were used */
  #decode(text: string, handling: "stop-before-partial" | "loose" = "stop-before-partial"): number {
    let used = 0;
    for (;;) {
      const room = this.#target.subarray(this.#filled);
      const rest = used === 0 ? text : text.slice(used);
      let result: { read: number; written: number };
      try {
        result = room.setFromBase64(rest, { lastChunkHandling: handling });
      } catch {
        this.#fail("its text is not base64");
        return text.length;
      }
      this.#filled += result.written;
      used += result.read;
      if (result.written % 3 !== 0) this.#padded = true; // only a padded group gives less than three bytes
      if (this.#done() || this.#target.length - this.#filled >= 3) return used;
      if (/^\s*$/.test(text.slice(used)) || !this.#grow()) return used;
    }
  }

  #grow(): boolean {
    const roomBytes = Math.min(Math.max(this.#target.length * 2, 65_536), wholeGroups(this.#limitBytes));
    if (roomBytes <= this.#target.length) {
      this.#fail(`more than ${this.#limitBytes} bytes`);
      return false;
    }
    const larger = this.#room(roomBytes);
    larger.set(this.#target.subarray(0, this.#filled));
    this.#target = larger;
    return true;
  }

  #room(byteCount: number): Uint8Array<ArrayBuffer> {
    return this.#memory.take(wholeGroups(byteCount));
  }

  #fail(why: string): void {
    this.#broken ??= why;
    this.#target = new Uint8Array(0);
    this.#filled = 0;
  }
}

/** Four characters give three bytes: a buffer of whole groups never has to split one. */
function wholeGroups(byteCount: number): number {
  return Math.ceil(byteCount / 3) * 3;
}

/** What `setFromBase64` skips as well: tab, line feed, form feed, carriage return, blank. */
function isBlank(byte: number): boolean {
  return byte === 0x20 || byte === 0x0a || byte === 0x0d || byte === 0x09 || byte === 0x0c;
}

function hasText(bytes: Buffer, start: number, end: number): boolean {
  for (let at = start; at < end; at++) if (!isBlank(bytes[at]!)) return true;
  return false;
}
