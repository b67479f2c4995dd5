import { SaxesParser } from "saxes";

export interface XmlElement {
  readonly tag: string;
  readonly attributes: Readonly<Record<string, string>>;
  /** Untrimmed. */
  text: string;
  readonly children: XmlElement[];
}

/** Commands are small; whoever sends more at once is not speaking the protocol. */
const elementBytesMax = 1 << 20;

/**
 * Cuts a stream of top-level XML elements, without a root, into elements.
 * As the reference server does it skips what is broken and says nothing.
 */
export class ElementParser {
  readonly #parser = new SaxesParser({ fragment: true, position: false });
  readonly #decoder = new TextDecoder();
  readonly #open: XmlElement[] = [];
  #broken = false;
  #bytesOpen = 0;

  constructor(onElement: (element: XmlElement) => void) {
    const parser = this.#parser;
    parser.on("error", () => {
      if (this.#open.length > 0) this.#broken = true;
    });
    parser.on("opentag", (tag) => {
      if (this.#open.length === 0) this.#broken = false;
      const element: XmlElement = {
        tag: tag.name,
        attributes: tag.attributes as Record<string, string>,
        text: "",
        children: [],
      };
      this.#open.at(-1)?.children.push(element);
      this.#open.push(element);
    });
    parser.on("text", (text) => {
      const element = this.#open.at(-1);
      if (element) element.text += text;
    });
    parser.on("closetag", () => {
      const element = this.#open.pop();
      if (!element || this.#open.length > 0) return;
      this.#bytesOpen = 0;
      if (!this.#broken) onElement(element);
    });
  }

  /** @throws RangeError when an element grows past its limit */
  write(bytes: Uint8Array): void {
    this.#parser.write(this.#decoder.decode(bytes, { stream: true }));
    this.#bytesOpen = this.#open.length > 0 ? this.#bytesOpen + bytes.length : 0;
    if (this.#bytesOpen > elementBytesMax)
      throw new RangeError(`an element of more than ${elementBytesMax} bytes`);
  }
}
