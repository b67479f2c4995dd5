import { connect, createServer, type Socket } from "node:net";
import { type AcceptLink, type ByteLink, LinkClosedError, type OpenLink } from "./links.ts";

/** Wraps a connected socket. Nagle is off: two small writes in a row would otherwise wait 40 ms for an ACK. */
export function socketLink(socket: Socket): ByteLink {
  socket.setNoDelay(true);
  socket.on("error", () => {}); // told to the reader by the iterator and to the writer by `write`
  return {
    incoming: socket as AsyncIterable<Uint8Array>,
    send: (bytes) =>
      new Promise((resolve, reject) => {
        if (socket.destroyed || socket.writableEnded) {
          reject(new LinkClosedError());
          return;
        }
        socket.write(bytes, (error) => (error ? reject(new LinkClosedError(error.message)) : resolve()));
      }),
    close: async () => {
      socket.destroy();
    },
  };
}

/** Opens TCP links to one server. */
export function tcpOpener(address: { host: string; port: number }): OpenLink {
  return (signal) =>
    new Promise((resolve, reject) => {
      signal.throwIfAborted();
      const socket = connect({ host: address.host, port: address.port });
      const onAbort = () => {
        socket.destroy();
        reject(signal.reason);
      };
      signal.addEventListener("abort", onAbort, { once: true });
      socket.once("connect", () => {
        signal.removeEventListener("abort", onAbort);
        socket.removeListener("error", reject);
        resolve(socketLink(socket));
      });
      socket.once("error", (error) => {
        signal.removeEventListener("abort", onAbort);
        reject(error);
      });
    });
}

export interface TcpServer {
  readonly port: number;
  close(): Promise<void>;
}

/** Listens on loopback only. Port 0 takes a free one. */
export function listenOnLoopback(port: number, accept: AcceptLink): Promise<TcpServer> {
  return listenOn({ host: "127.0.0.1", port }, accept);
}

/** Port 0 takes a free one. @throws what the system says when the address can't be had */
export function listenOn(at: { host: string; port: number }, accept: AcceptLink): Promise<TcpServer> {
  return new Promise((resolve, reject) => {
    const sockets = new Set<Socket>();
    const server = createServer((socket) => {
      sockets.add(socket);
      socket.on("close", () => sockets.delete(socket));
      accept(socketLink(socket));
    });
    server.once("error", reject);
    server.listen(at.port, at.host, () => {
      const address = server.address();
      if (address === null || typeof address === "string") throw new Error("no TCP address");
      resolve({
        port: address.port,
        close: () =>
          new Promise((closed) => {
            for (const socket of sockets) socket.destroy();
            server.close(() => closed());
          }),
      });
    });
  });
}
