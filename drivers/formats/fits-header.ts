import { type Card, type CardValue, cardLength, isCommentary } from "./fits-card.ts";
import { parseCards } from "./fits-card-read.ts";
import { FitsError } from "./fits-error.ts";

export const blockBytes = 2880;

/** A header's cards in their order, with typed look-up. Keywords are met in upper case. */
export class FitsHeader implements Iterable<Card> {
  readonly #byKeyword = new Map<string, Card>();

  constructor(readonly cards: readonly Card[]) {
    for (const card of cards) {
      // The standard leaves a repeated keyword open; the first counts here.
      if (!isCommentary(card.keyword) && !this.#byKeyword.has(card.keyword))
        this.#byKeyword.set(card.keyword, card);
    }
  }

  [Symbol.iterator](): Iterator<Card> {
    return this.cards[Symbol.iterator]();
  }

  has(keyword: string): boolean {
    return this.#byKeyword.has(keyword);
  }

  value(keyword: string): CardValue {
    return this.#byKeyword.get(keyword)?.value;
  }

  comment(keyword: string): string | undefined {
    return this.#byKeyword.get(keyword)?.comment;
  }

  /** The number of a keyword; a number written as a string counts. `undefined` if there is none. */
  number(keyword: string): number | undefined {
    const value = this.value(keyword);
    if (typeof value === "number") return value;
    if (typeof value === "bigint") return Number(value);
    if (typeof value !== "string" || value.trim() === "") return undefined;
    const parsed = Number(value);
    return Number.isFinite(parsed) ? parsed : undefined;
  }

  text(keyword: string): string | undefined {
    const value = this.value(keyword);
    return typeof value === "string" ? value : undefined;
  }

  logical(keyword: string): boolean | undefined {
    const value = this.value(keyword);
    return typeof value === "boolean" ? value : undefined;
  }

  /** The texts of all COMMENT or all HISTORY cards. */
  texts(keyword: "COMMENT" | "HISTORY"): string[] {
    return this.cards.filter((card) => card.keyword === keyword).map((card) => String(card.value ?? ""));
  }
}

/** Where END is, if these bytes hold it: the header and its length in bytes, whole blocks. */
export function parseHeader(
  bytes: Uint8Array,
  what: string,
): { header: FitsHeader; headerBytes: number } | undefined {
  const lines: string[] = [];
  let block = "";
  for (let start = 0; start + cardLength <= bytes.length; start += cardLength) {
    const place = start % blockBytes;
    // Block by block: a card's bytes one by one are slow, and a whole file may follow.
    if (place === 0) block = latin1(bytes.subarray(start, start + blockBytes));
    const text = block.slice(place, place + cardLength);
    if (text.startsWith("END") && (/^END *$/.test(text) || /^END[ \0]*$/.test(text))) {
      return {
        header: new FitsHeader(parseCards(lines)),
        headerBytes: Math.ceil((start + cardLength) / blockBytes) * blockBytes,
      };
    }
    if (/[^\x20-\x7e]/.test(text.slice(0, 8))) {
      throw new FitsError(`${what}: card ${start / cardLength + 1} of the header is not text`);
    }
    lines.push(text);
  }
  return undefined;
}

function latin1(bytes: Uint8Array): string {
  return Buffer.from(bytes.buffer, bytes.byteOffset, bytes.length).toString("latin1");
}
