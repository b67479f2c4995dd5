import { createSocket, type Socket, type SocketType } from "node:dgram";
import { networkInterfaces } from "node:os";

/** Fifteen letters and a version; what follows is reserved (API reference, discovery). */
const question = "alpacadiscovery1";
const multicastGroup = "ff12::a1:9aca";
export const discoveryPort = 32227;

interface Ear {
  readonly type: SocketType;
  readonly address: string;
  readonly group?: { readonly address: string; readonly interface: string };
}

/**
 * Tells whoever asks on this machine where the Alpaca server listens. Bound to addresses of the loopback interface
 * alone: its own, its broadcast address, and the multicast group on it.
 * @returns what it could bind, or nothing of it on a machine whose discovery port is taken; closing is safe in any state
 */
export async function answerDiscovery(
  alpacaPort: number,
  port = discoveryPort,
): Promise<{ readonly addresses: readonly string[]; close(): Promise<void> }> {
  const reply = JSON.stringify({ AlpacaPort: alpacaPort });
  const open: { socket: Socket; address: string }[] = [];
  for (const ear of ears()) {
    const socket = await listen(ear, port, reply).catch(() => undefined);
    if (socket) open.push({ socket, address: ear.address });
  }
  return {
    addresses: open.map(({ address }) => address),
    close: async () => {
      for (const { socket } of open.splice(0))
        await new Promise<void>((closed) => socket.close(() => closed()));
    },
  };
}

/** A question to the broadcast address is heard only by a socket that is bound to it. */
function ears(): readonly Ear[] {
  const v4: Ear[] = ["127.0.0.1", "127.255.255.255"].map((address) => ({ type: "udp4", address }));
  const loopbacks = Object.entries(networkInterfaces()).filter(([, all]) => all?.some((one) => one.internal));
  const v6 = loopbacks.map(
    ([name]): Ear => ({
      type: "udp6",
      address: `${multicastGroup}%${name}`,
      group: { address: multicastGroup, interface: `::%${name}` },
    }),
  );
  return [...v4, { type: "udp6", address: "::1" }, ...v6];
}

function listen({ type, address, group }: Ear, port: number, reply: string): Promise<Socket> {
  return new Promise((resolve, reject) => {
    // Other servers on this machine share the port.
    const socket = createSocket({ type, reuseAddr: true, ...(type === "udp6" ? { ipv6Only: true } : {}) });
    socket.on("error", (error) => {
      socket.close();
      reject(error);
    });
    socket.on("message", (datagram, from) => {
      if (datagram.toString("latin1").startsWith(question))
        socket.send(reply, from.port, from.address, () => {});
    });
    socket.bind(port, address, () => {
      if (group) socket.addMembership(group.address, group.interface);
      socket.removeAllListeners("error");
      socket.on("error", () => {}); // an answer that cannot be delivered is nobody's loss
      resolve(socket);
    });
  });
}
