import type { ByteLink } from "../../drivers/kit/links.ts";
import type { XmlElement } from "./element-parser.ts";

type BlobMode = "Never" | "Also" | "Only";

/** A client further behind than this is cut off, as the reference server does by default [bytes]. */
const backlogBytesMax = 128 * 2 ** 20;

/** Small pieces are joined up to this size before they are sent [bytes]. */
const joinBytes = 1 << 16;

export interface About {
  readonly device: string;
  /** Empty: the whole device. */
  readonly name: string;
  readonly isBlob: boolean;
}

/** One client: what it has asked to hear of, and what is still on its way to it. */
export class ClientDesk {
  #allDevices = false;
  #blobs: BlobMode = "Never";
  readonly #interests: { device: string; name: string; blobs: BlobMode }[] = [];
  #outbox: Uint8Array[] = [];
  #waitingBytes = 0;
  #sending = false;

  constructor(readonly link: ByteLink) {}

  /** Takes note of what an element from this client says about its interests. */
  note(element: XmlElement): void {
    const { device = "", name = "" } = element.attributes;
    const isEnable = element.tag === "enableBLOB";
    if (device !== "") this.#addInterest(device, name, isEnable);
    // A general getProperties opens all devices only if nothing was named before.
    else if (element.tag === "getProperties" && this.#interests.length === 0) this.#allDevices = true;
    if (!isEnable) return;
    const mode = element.text.trim();
    if (mode !== "Never" && mode !== "Also" && mode !== "Only") return;
    if (name === "") {
      this.#blobs = mode;
      for (const interest of this.#interests) interest.blobs = mode;
      return;
    }
    const named = this.#named(device, name);
    if (named) named.blobs = mode;
  }

  wants(about: About): boolean {
    const { device, name } = about;
    if (
      !this.#allDevices &&
      !this.#interests.some((i) => i.device === device && (i.name === "" || i.name === name))
    ) {
      return false;
    }
    if (!about.isBlob) return this.#blobs !== "Only";
    return (this.#named(device, name)?.blobs ?? this.#blobs) !== "Never";
  }

  /** Sends in order, when the link takes it. The parts are not copied and must not change. */
  queue(parts: readonly (string | Uint8Array)[]): void {
    if (this.#waitingBytes > backlogBytesMax) {
      this.#outbox = [];
      void this.close();
      return;
    }
    for (const part of parts) {
      const bytes = typeof part === "string" ? Buffer.from(part, "utf8") : part;
      this.#outbox.push(bytes);
      this.#waitingBytes += bytes.length;
    }
    if (!this.#sending) void this.#sendAll();
  }

  async close(): Promise<void> {
    await this.link.close();
  }

  #addInterest(device: string, name: string, isEnable: boolean): void {
    const known = this.#interests.some((i) => i.device === device && (i.name === "" || i.name === name));
    const exact = this.#named(device, name) !== undefined;
    if (isEnable && name !== "" ? exact : this.#allDevices || known) return;
    this.#interests.push({ device, name, blobs: "Never" });
  }

  #named(device: string, name: string) {
    return this.#interests.find((i) => i.device === device && i.name === name);
  }

  async #sendAll(): Promise<void> {
    this.#sending = true;
    try {
      await Promise.resolve(); // a burst written in one turn leaves together
      while (this.#outbox.length > 0) {
        const bytes = this.#takeNext();
        await this.link.send(bytes);
        this.#waitingBytes -= bytes.length;
      }
    } catch {
      this.#outbox = []; // gone; the reading side notices and clears up
    } finally {
      this.#sending = false;
    }
  }

  #takeNext(): Uint8Array {
    let count = 0;
    let bytes = 0;
    while (count < this.#outbox.length && (count === 0 || bytes + this.#outbox[count]!.length <= joinBytes)) {
      bytes += this.#outbox[count]!.length;
      count++;
    }
    const taken = this.#outbox.splice(0, count);
    return taken.length === 1 ? taken[0]! : Buffer.concat(taken, bytes);
  }
}
