import { SpareMemory } from "../../kit/spare-memory.ts";
import { type BlobOutcome, BlobText } from "./blob-text.ts";
import { StreamLimitError } from "./errors.ts";
import { defaultLimits, type StreamLimits } from "./limits.ts";
import type { PropertyKind } from "./property.ts";
import { type XmlSink, XmlStream } from "./xml-stream.ts";
import { decodeEntities, type Tag } from "./xml-tag.ts";

export interface MessageElement {
  readonly name: string;
  readonly attributes: ReadonlyMap<string, string>;
  /** Trimmed. Empty for BLOBs. */
  readonly text: string;
  /** BLOBs that somebody wanted. */
  readonly blob?: BlobOutcome;
}

/** One top-level element of the protocol, whole. */
export interface IndiMessage {
  readonly action:
    | "def"
    | "set"
    | "new"
    | "message"
    | "delProperty"
    | "getProperties"
    | "enableBLOB"
    | "pingRequest"
    | "pingReply";
  /** Of a def, set or new. */
  readonly kind: PropertyKind | undefined;
  readonly attributes: ReadonlyMap<string, string>;
  readonly elements: readonly MessageElement[];
  readonly startedRevision: number;
  readonly revision: number;
}

export interface MessageHandlers {
  message(message: IndiMessage): void;
  /** Numbers every arrival; several links of one client count together. */
  nextRevision(): number;
  /** Asked when a BLOB begins; those that are not wanted are passed over. */
  wantsBlob(device: string, property: string): boolean;
  /** An element was lost because the stream around it is not well formed. */
  dropped(why: string): void;
}

type Shape = Pick<IndiMessage, "action" | "kind"> & { readonly child: string };
const shapes = new Map<string, Shape>();
for (const [title, kind] of [
  ["Text", "text"],
  ["Number", "number"],
  ["Switch", "switch"],
  ["Light", "light"],
  ["BLOB", "blob"],
] as const) {
  shapes.set(`def${title}Vector`, { action: "def", kind, child: `def${title}` });
  shapes.set(`set${title}Vector`, { action: "set", kind, child: `one${title}` });
  shapes.set(`new${title}Vector`, { action: "new", kind, child: `one${title}` });
}
for (const action of [
  "message",
  "delProperty",
  "getProperties",
  "enableBLOB",
  "pingRequest",
  "pingReply",
] as const) {
  shapes.set(action, { action, kind: undefined, child: "" });
}

interface OpenMessage {
  readonly tag: Tag;
  readonly shape: Shape;
  readonly startedRevision: number;
  readonly elements: MessageElement[];
  /** Tags that are open within it: the child first, then what nobody knows. */
  readonly inside: string[];
  child: Tag | undefined;
  blob: BlobText | undefined;
  bytes: number;
}

/** Puts whole messages together. A BLOB's text goes straight to its decoder. */
export class MessageReader implements XmlSink {
  readonly #limits: StreamLimits;
  readonly #stream: XmlStream;
  #open: OpenMessage | undefined;
  #text = Buffer.alloc(1024);
  #textBytes = 0;

  constructor(
    private readonly handlers: MessageHandlers,
    limits: Partial<StreamLimits> = {},
    /** What BLOBs are decoded into. */
    private readonly memory = new SpareMemory(),
  ) {
    this.#limits = { ...defaultLimits, ...limits };
    this.#stream = new XmlStream(this, this.#limits);
  }

  /** Takes the next bytes, cut anywhere. @throws StreamLimitError; then the link is of no use any more */
  push(chunk: Uint8Array): void {
    this.#stream.push(chunk);
  }

  /** The link ended: whether that was in the middle of a message, which is lost. */
  get midMessage(): boolean {
    return this.#open !== undefined;
  }

  open(tag: Tag, tagBytes: number): void {
    const shape = shapes.get(tag.name);
    if (shape) {
      // Messages don't nest: the one before was never closed. Anything around it is transparent.
      this.#drop(`${this.#open?.tag.name} was not closed`);
      this.#open = {
        tag,
        shape,
        startedRevision: this.handlers.nextRevision(),
        elements: [],
        inside: [],
        child: undefined,
        blob: undefined,
        bytes: tagBytes,
      };
      return;
    }
    const message = this.#open;
    if (!message) return;
    this.#count(message, tagBytes);
    if (message.blob) {
      this.#drop("a tag within a BLOB");
      return;
    }
    if (message.inside.length >= this.#limits.depthMax)
      throw new StreamLimitError("nesting", this.#limits.depthMax);
    if (message.inside.length === 0 && tag.name === message.shape.child) {
      message.child = tag;
      this.#textBytes = 0;
      if (message.shape.kind === "blob" && message.shape.action === "set") this.#openBlob(message, tag);
    }
    message.inside.push(tag.name);
  }

  text(bytes: Buffer, start: number, end: number): void {
    const message = this.#open;
    if (!message) return;
    if (message.blob) {
      message.blob.write(bytes, start, end);
      return;
    }
    if (message.child === undefined || message.shape.kind === "blob" || message.inside.length !== 1) return;
    this.#count(message, end - start);
    const needed = this.#textBytes + end - start;
    if (needed > this.#text.length) {
      const larger = Buffer.alloc(Math.max(needed, this.#text.length * 2));
      this.#text.copy(larger, 0, 0, this.#textBytes);
      this.#text = larger;
    }
    bytes.copy(this.#text, this.#textBytes, start, end);
    this.#textBytes = needed;
  }

  close(name: string): void {
    const message = this.#open;
    if (!message) return;
    const innermost = message.inside.pop() ?? message.tag.name;
    if (innermost !== name) {
      this.#drop(`${innermost} closed as ${name}`);
    } else if (message.child && message.inside.length === 0 && name === message.shape.child) {
      this.#closeChild(message, message.child);
    } else if (name === message.tag.name) {
      this.#open = undefined;
      this.handlers.message({
        action: message.shape.action,
        kind: message.shape.kind,
        attributes: message.tag.attributes,
        elements: message.elements,
        startedRevision: message.startedRevision,
        revision: this.handlers.nextRevision(),
      });
    }
  }

  broken(why: string): void {
    this.#drop(why);
  }

  #closeChild(message: OpenMessage, child: Tag): void {
    const text = this.#text.toString("utf8", 0, this.#textBytes).replaceAll("\0", "");
    message.elements.push({
      name: child.attributes.get("name") ?? "",
      attributes: child.attributes,
      text: decodeEntities(text).trim(),
      ...(message.blob ? { blob: message.blob.end() } : {}),
    });
    message.child = undefined;
    message.blob = undefined;
    this.#textBytes = 0;
  }

  #openBlob(message: OpenMessage, tag: Tag): void {
    const size = byteCount(tag.attributes.get("size"));
    const device = message.tag.attributes.get("device") ?? "";
    const property = message.tag.attributes.get("name") ?? "";
    // A size of 0 is a change of state without data.
    if (size === 0 || !this.handlers.wantsBlob(device, property)) return;
    const len = byteCount(tag.attributes.get("len"));
    const enclen = byteCount(tag.attributes.get("enclen"));
    message.blob = new BlobText({ len, size, enclen }, this.#limits.blobBytesMax, this.memory);
  }

  #count(message: OpenMessage, byteCount: number): void {
    message.bytes += byteCount;
    if (message.bytes > this.#limits.elementBytesMax) {
      throw new StreamLimitError(`a ${message.tag.name}`, this.#limits.elementBytesMax);
    }
  }

  #drop(why: string): void {
    if (!this.#open) return;
    this.#open = undefined;
    this.handlers.dropped(why);
  }
}

function byteCount(text: string | undefined): number | undefined {
  return text !== undefined && /^\s*\d{1,15}\s*$/.test(text) ? Number(text) : undefined;
}
