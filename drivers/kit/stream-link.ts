import type { Readable, Writable } from "node:stream";
import { type ByteLink, LinkClosedError } from "./links.ts";

/** A link over two streams, such as a program's standard input and output, seen from either side. */
export function streamLink(incoming: Readable, outgoing: Writable, close: () => void): ByteLink {
  for (const stream of [incoming, outgoing]) stream.on("error", () => {}); // told to the reader and to the writer
  return {
    incoming: incoming as AsyncIterable<Uint8Array>,
    send: (bytes) =>
      new Promise((resolve, reject) => {
        if (outgoing.destroyed || outgoing.writableEnded) reject(new LinkClosedError());
        else
          outgoing.write(bytes, (error) => (error ? reject(new LinkClosedError(error.message)) : resolve()));
      }),
    close: async () => close(),
  };
}
