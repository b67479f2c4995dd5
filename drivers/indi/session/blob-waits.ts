import type { Clock } from "../../kit/clock.ts";
import type { Log } from "../../kit/log.ts";
import type { IndiBlob } from "../wire/blob.ts";
import { BlobError } from "../wire/errors.ts";
import { inflateTo } from "../wire/inflate.ts";
import type { IndiMessage, MessageElement } from "../wire/message-reader.ts";

export interface BlobFilter {
  readonly after?: number | (() => number | undefined);
  readonly accept?: (blob: IndiBlob) => boolean;
}

interface BlobWait extends BlobFilter {
  readonly name: string;
  done(blob: IndiBlob): void;
  fail(error: unknown): void;
}

/** Who waits for which BLOBs of one device. Each goes to the first that takes it. */
export class BlobWaits {
  readonly #open = new Set<BlobWait>();

  constructor(
    private readonly device: string,
    private readonly clock: Clock,
    private readonly log: Log,
    private readonly blobBytesMax: number,
  ) {}

  wants(name: string): boolean {
    return this.#waits(name).length > 0;
  }

  add(wait: BlobWait): () => void {
    this.#open.add(wait);
    return () => this.#open.delete(wait);
  }

  failAll(error: unknown): void {
    for (const wait of [...this.#open]) wait.fail(error);
  }

  /** Takes a whole setBLOBVector. */
  take(message: IndiMessage): void {
    for (const element of message.elements) {
      if (element.blob) void this.clock.hold(this.#takeElement(message, element));
    }
  }

  async #takeElement(message: IndiMessage, element: MessageElement): Promise<void> {
    const name = message.attributes.get("name") ?? "";
    const outcome = await this.#unpacked(element);
    if ("broken" in outcome) {
      this.log.warn(
        { device: this.device, property: name, why: outcome.broken },
        "INDI: a BLOB is of no use",
      );
      const error = new BlobError(this.device, `the BLOB ${name} is of no use: ${outcome.broken}`);
      for (const wait of this.#waits(name)) if (inTime(wait, message.startedRevision)) wait.fail(error);
      return;
    }
    const state = message.attributes.get("state");
    const blob: IndiBlob = {
      device: this.device,
      name,
      element: element.name,
      format: outcome.format,
      bytes: outcome.bytes,
      state: state as IndiBlob["state"],
      timestamp: message.attributes.get("timestamp"),
      startedRevision: message.startedRevision,
    };
    for (const wait of this.#waits(name)) {
      if (!inTime(wait, blob.startedRevision) || (wait.accept && !wait.accept(blob))) continue;
      wait.done(blob);
      return;
    }
    this.log.info({ device: this.device, property: name }, "INDI: a BLOB that nobody asked for is dropped");
  }

  async #unpacked(
    element: MessageElement,
  ): Promise<{ bytes: Uint8Array; format: string } | { broken: string }> {
    const outcome = element.blob!;
    const format = element.attributes.get("format") ?? "";
    if ("broken" in outcome || !format.endsWith(".z"))
      return "broken" in outcome ? outcome : { ...outcome, format };
    const sizeBytes = Number(element.attributes.get("size"));
    if (!Number.isSafeInteger(sizeBytes)) return { broken: "it is compressed and states no size" };
    if (sizeBytes > this.blobBytesMax)
      return { broken: `${sizeBytes} bytes declared, ${this.blobBytesMax} allowed` };
    const inflated = await inflateTo(outcome.bytes, sizeBytes);
    return "broken" in inflated ? inflated : { ...inflated, format: format.slice(0, -2) };
  }

  #waits(name: string): BlobWait[] {
    return [...this.#open].filter((wait) => wait.name === name);
  }
}

function inTime(wait: BlobFilter, startedRevision: number): boolean {
  const after = typeof wait.after === "function" ? wait.after() : (wait.after ?? 0);
  return after !== undefined && startedRevision > after;
}
