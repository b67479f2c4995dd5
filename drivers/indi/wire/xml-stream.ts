import { StreamLimitError } from "./errors.ts";
import type { StreamLimits } from "./limits.ts";
import { parseTag, type Tag } from "./xml-tag.ts";

/** What a stream of elements is taken apart into. Bytes are only lent for the call. */
export interface XmlSink {
  open(tag: Tag, tagBytes: number): void;
  text(bytes: Buffer, start: number, end: number): void;
  close(name: string): void;
  /** Something that is no element stood in the way; what surrounds it is not whole. */
  broken(why: string): void;
}

const lessThan = 0x3c;
const greaterThan = 0x3e;
const doubleQuote = 0x22;
const singleQuote = 0x27;

/**
 * Takes apart the protocol's endless run of elements, chunk by chunk. Holds at most one unfinished tag; text goes to
 * the sink as it comes. Declarations, comments and CDATA marks are skipped wherever they stand.
 */
export class XmlStream {
  #state: "text" | "tag" | "aside" = "text";
  #quote = 0;
  /** The unfinished tag of earlier chunks, without its `<`. */
  #held: Buffer;
  #heldBytes = 0;
  /** First and last bytes of a declaration or comment, to know which it is and where it ends. */
  #asideHead = "";
  #asideTail = "";

  constructor(
    private readonly sink: XmlSink,
    private readonly limits: StreamLimits,
  ) {
    this.#held = Buffer.alloc(256);
  }

  /** @throws StreamLimitError; the stream is of no use after it */
  push(chunk: Uint8Array): void {
    const bytes = Buffer.from(chunk.buffer, chunk.byteOffset, chunk.byteLength);
    let at = 0;
    while (at < bytes.length) {
      if (this.#state === "text") at = this.#passText(bytes, at);
      else if (this.#state === "tag") at = this.#passTag(bytes, at);
      else at = this.#passAside(bytes, at);
    }
  }

  #passText(bytes: Buffer, from: number): number {
    const found = bytes.indexOf(lessThan, from);
    const end = found < 0 ? bytes.length : found;
    if (end > from) this.sink.text(bytes, from, end);
    if (found < 0) return end;
    this.#state = "tag";
    this.#quote = 0;
    this.#heldBytes = 0;
    return found + 1;
  }

  #passTag(bytes: Buffer, from: number): number {
    let at = from;
    if (this.#heldBytes === 0 && (bytes[at] === 0x21 || bytes[at] === 0x3f)) {
      this.#state = "aside"; // <!-- --> <![CDATA[ ]]> <!DOCTYPE > <? ?>
      this.#asideHead = "";
      this.#asideTail = "";
      return at;
    }
    for (; at < bytes.length; at++) {
      const byte = bytes[at]!;
      if (this.#quote !== 0) {
        if (byte === this.#quote) this.#quote = 0;
      } else if (byte === doubleQuote || byte === singleQuote) {
        this.#quote = byte;
      } else if (byte === greaterThan) {
        this.#endTag(bytes, from, at);
        this.#state = "text";
        return at + 1;
      } else if (byte === lessThan) {
        this.sink.broken("a tag within a tag");
        this.#heldBytes = 0;
        return at + 1; // begin anew at this one
      }
    }
    this.#hold(bytes, from, at);
    return at;
  }

  #hold(bytes: Buffer, from: number, to: number): void {
    const needed = this.#heldBytes + to - from;
    if (needed > this.limits.tagBytesMax) throw new StreamLimitError("a tag", this.limits.tagBytesMax);
    if (needed > this.#held.length) {
      const larger = Buffer.alloc(Math.max(needed, this.#held.length * 2));
      this.#held.copy(larger, 0, 0, this.#heldBytes);
      this.#held = larger;
    }
    bytes.copy(this.#held, this.#heldBytes, from, to);
    this.#heldBytes = needed;
  }

  #endTag(bytes: Buffer, from: number, to: number): void {
    if (to - from > this.limits.tagBytesMax) throw new StreamLimitError("a tag", this.limits.tagBytesMax);
    let text: string;
    if (this.#heldBytes === 0) {
      text = bytes.toString("utf8", from, to);
    } else {
      this.#hold(bytes, from, to);
      text = this.#held.toString("utf8", 0, this.#heldBytes);
    }
    const tag = parseTag(text, this.limits.attributeBytesMax);
    if (tag === undefined) {
      this.sink.broken("a malformed tag");
    } else if (tag.closes) {
      this.sink.close(tag.name);
    } else {
      this.sink.open(tag, text.length);
      if (tag.selfClosed) this.sink.close(tag.name);
    }
  }

  #passAside(bytes: Buffer, from: number): number {
    for (let at = from; at < bytes.length; at++) {
      const character = String.fromCharCode(bytes[at]!);
      if (this.#asideHead.length < 8) this.#asideHead += character;
      if (character === ">" && this.#asideEnds()) {
        this.#state = "text";
        return at + 1;
      }
      this.#asideTail = this.#asideTail.slice(-1) + character;
    }
    return bytes.length;
  }

  #asideEnds(): boolean {
    const head = this.#asideHead;
    if (head.startsWith("?")) return this.#asideTail.endsWith("?");
    if (head.startsWith("!--")) return this.#asideTail === "--";
    if (head.startsWith("![CDATA[")) return this.#asideTail === "]]";
    return true;
  }
}
