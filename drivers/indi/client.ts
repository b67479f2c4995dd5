import type { Clock } from "../kit/clock.ts";
import type { OpenLink } from "../kit/links.ts";
import type { Log } from "../kit/log.ts";
import type { Random } from "../kit/random.ts";
import type { IndiDevice } from "./device.ts";
import type { StreamLimits } from "./limits.ts";

export interface IndiClientOptions {
  readonly open: OpenLink;
  readonly clock: Clock;
  readonly log: Log;
  /** Spreads reconnects of several clients. */
  readonly random: Random;
  /** How messages call the server, "INDI server rig.local:7624" for example. */
  readonly serverName?: string;
  /**
   * How images travel. "shared" (default): on the one link, so that the order of Busy, BLOB and Ok is certain, which
   * is what tells this request's frame from the last one's. "separate": on a link of their own, so that commands and
   * guards stay quick while an image crawls through a slow network; the order of the two links is then not certain.
   */
  readonly blobLink?: "shared" | "separate";
  readonly limits?: Partial<StreamLimits>;
  /** Wait before the first attempt to reconnect, doubled each time up to the last, each varied by ±25 %. Default 0.5, 30. */
  readonly backoff?: { readonly firstSeconds: number; readonly lastSeconds: number };
  /** Silence before the server is asked for a sign of life, and how long it may take. Default 10, 10. */
  readonly ping?: { readonly everySeconds: number; readonly withinSeconds: number };
}

export type ClientEvent =
  | { readonly type: "linkUp"; readonly reconnects: number }
  | { readonly type: "linkDown"; readonly reason: string };

/** A client of one INDI server. Its devices live as long as it does, over every reconnect. */
export declare class IndiClient implements AsyncDisposable {
  constructor(options: IndiClientOptions);
  readonly linkState: "closed" | "connecting" | "up" | "down";
  /** Whether BLOBs and property updates come in one certain order ("shared"). */
  readonly ordersBlobs: boolean;
  /**
   * Opens the link, trying again as reconnects do. Later losses are repaired by itself until `close`.
   * @throws DeviceLostError with the first reason when the time is up (default 10 s)
   */
  connect(signal: AbortSignal, options?: { withinSeconds?: number }): Promise<void>;
  /** The same object for the same name, always; it need not be known to the server yet. */
  device(name: string): IndiDevice;
  /** Those that drivers have announced. */
  deviceNames(): readonly string[];
  /** Wants BLOBs of that property; kept over every reconnect. None come before this. */
  enableBlobs(device: string, property: string): Promise<void>;
  /** @returns how to stop it */
  watch(listener: (event: ClientEvent) => void): () => void;
  /** Ends everything; pending waits fail. Safe in any state, any number of times. */
  close(): Promise<void>;
  [Symbol.asyncDispose](): Promise<void>;
}
