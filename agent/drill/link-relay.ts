import { connect, createServer, type Socket } from "node:net";

/** Stands on this computer between an agent and a device server; cut, it ends every link and takes no other until it is mended. */
export interface LinkRelay extends AsyncDisposable {
  readonly port: number;
  cut(): void;
  mend(): void;
}

/** @throws what the system says when no port can be had */
export async function openLinkRelay(to: {
  readonly host: string;
  readonly port: number;
}): Promise<LinkRelay> {
  const sockets = new Set<Socket>();
  let isCut = false;
  const server = createServer((client) => {
    if (isCut) return void client.destroy();
    const device = connect(to.port, to.host);
    for (const [one, other] of [
      [client, device],
      [device, client],
    ] as const) {
      sockets.add(one);
      one.pipe(other);
      one.on("error", () => other.destroy());
      one.on("close", () => {
        sockets.delete(one);
        other.destroy();
      });
    }
  });
  await new Promise<void>((resolve, reject) => {
    server.once("error", reject);
    server.listen(0, "127.0.0.1", resolve);
  });
  const address = server.address();
  if (address === null || typeof address === "string") throw new Error("no TCP address");
  const end = () => {
    for (const socket of sockets) socket.destroy();
  };
  return {
    port: address.port,
    cut: () => {
      isCut = true;
      end();
    },
    mend: () => {
      isCut = false;
    },
    [Symbol.asyncDispose]: () =>
      new Promise((closed) => {
        end();
        server.close(() => closed());
      }),
  };
}
