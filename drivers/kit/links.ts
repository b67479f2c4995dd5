/** A byte stream to the far side: a socket, a pair in memory, or a program's standard input and output. */
export interface ByteLink {
  /** Chunks as they arrive, to be iterated once. Ends when the far side closes; throws when the link is cut. */
  readonly incoming: AsyncIterable<Uint8Array>;
  /** Resolves when the bytes are handed over (back-pressure). @throws LinkClosedError */
  send(bytes: Uint8Array): Promise<void>;
  /** Safe in any state, any number of times. */
  close(): Promise<void>;
}

/** Opens a link anew; a driver calls it again to reconnect. */
export type OpenLink = (signal: AbortSignal) => Promise<ByteLink>;

/** Accepts links: what a simulated server listens on, be it a port or memory. */
export type AcceptLink = (link: ByteLink) => void;

export class LinkClosedError extends Error {
  constructor(message = "the link is closed") {
    super(message);
    this.name = "LinkClosedError";
  }
}
