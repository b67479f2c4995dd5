import { DeviceLostError } from "../../kit/errors.ts";
import { enableBlobText } from "./message-writer.ts";
import { PendingWaits } from "./pending-waits.ts";
import { ServerLink, type ServerLinkHooks, type ServerLinkOptions } from "./server-link.ts";

/** Longest that opening may take before those who want images are told [s]. */
const openSeconds = 10;

/** A link of its own that carries BLOBs and nothing else. Opened when the first device wants them, then kept up. */
export class ImageLink {
  readonly #devices = new Set<string>();
  readonly #link: ServerLink;
  readonly #waits: PendingWaits<"up">;
  #lastReason: string | undefined;

  constructor(
    private readonly options: ServerLinkOptions,
    hooks: Pick<ServerLinkHooks, "message" | "nextRevision" | "wantsBlob">,
    private readonly lost: (device: string, reason: string) => void,
  ) {
    this.#waits = new PendingWaits<"up">(options.clock);
    this.#link = new ServerLink(options, {
      ...hooks,
      up: () => this.#up(),
      down: (reason) => this.#down(reason),
      failed: (error) => {
        this.#lastReason ??= error instanceof Error ? error.message : String(error);
      },
    });
  }

  /** @throws DeviceLostError if the link does not open */
  async enable(device: string, signal: AbortSignal): Promise<void> {
    this.#devices.add(device);
    if (this.#link.isUp) {
      await this.#link.send(enableBlobText("Only", device));
      return;
    }
    const { serverName } = this.options;
    const late = () =>
      new DeviceLostError(serverName, `no link for images: ${this.#lastReason ?? "no answer"}`);
    const wait = { device: serverName, what: "", withinSeconds: openSeconds, signal, late };
    await this.#waits.run<void>(wait, (ends) => {
      this.#link.start();
      return { see: () => ends.done() };
    });
  }

  async close(): Promise<void> {
    this.#waits.failAll(new DeviceLostError(this.options.serverName, "the client was closed"));
    await this.#link.close();
  }

  /** "Only" without a property makes the whole link one for BLOBs; with a property it would not. */
  #up(): void {
    this.#lastReason = undefined;
    for (const device of this.#devices) this.#link.post(enableBlobText("Only", device));
    this.#waits.tell("up");
  }

  #down(reason: string): void {
    this.options.log.warn({ server: this.options.serverName, reason }, "INDI: the link for images is down");
    this.#lastReason = reason;
    for (const device of this.#devices) this.lost(device, reason);
  }
}
