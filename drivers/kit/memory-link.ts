import { type AcceptLink, type ByteLink, LinkClosedError, type OpenLink } from "./links.ts";

/** One end of a pair: a queue of chunks that the other end fills. */
class MemoryEnd implements ByteLink {
  peer!: MemoryEnd;
  readonly #queue: Uint8Array[] = [];
  #wake: (() => void) | undefined;
  #ended: { error?: Error } | undefined;

  readonly incoming: AsyncIterable<Uint8Array> = { [Symbol.asyncIterator]: () => this.#iterate() };

  async *#iterate(): AsyncGenerator<Uint8Array> {
    for (;;) {
      const chunk = this.#queue.shift();
      if (chunk) {
        yield chunk;
      } else if (this.#ended) {
        if (this.#ended.error) throw this.#ended.error;
        return;
      } else {
        await new Promise<void>((resolve) => {
          this.#wake = resolve;
        });
      }
    }
  }

  send(bytes: Uint8Array): Promise<void> {
    if (this.#ended) return Promise.reject(new LinkClosedError());
    this.peer.#receive(bytes);
    return Promise.resolve();
  }

  close(): Promise<void> {
    this.end();
    this.peer.end();
    return Promise.resolve();
  }

  end(error?: Error): void {
    this.#ended ??= error ? { error } : {};
    this.#wake?.();
  }

  #receive(bytes: Uint8Array): void {
    this.#queue.push(bytes.slice()); // a socket would copy too; the sender may reuse its buffer
    this.#wake?.();
  }
}

/** Two ends of one link. `cut` breaks it as a pulled cable would. */
export function memoryLinkPair(): { near: ByteLink; far: ByteLink; cut: (error?: Error) => void } {
  const near = new MemoryEnd();
  const far = new MemoryEnd();
  near.peer = far;
  far.peer = near;
  return {
    near,
    far,
    cut: (error = new LinkClosedError("the link was cut")) => {
      near.end(error);
      far.end(error);
    },
  };
}

/** An in-memory server's front door: each call of the opener hands the far end to `accept`. */
export function memoryOpener(accept: AcceptLink): OpenLink {
  return async (signal) => {
    signal.throwIfAborted();
    const { near, far } = memoryLinkPair();
    accept(far);
    return near;
  };
}
