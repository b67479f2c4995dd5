import { createSocket, type Socket } from "node:dgram";
import { networkInterfaces } from "node:os";
import * as z from "zod";
import type { Clock } from "../../kit/clock.ts";
import type { Log } from "../../kit/log.ts";

/** Where a server answered from. */
export interface DiscoveredServer {
  readonly host: string;
  readonly port: number;
}

export interface DiscoveryOptions {
  readonly clock: Clock;
  readonly log: Log;
  /** UDP port that servers listen on. Default 32227, the standard's. */
  readonly port?: number;
  /** How long answers to one question are waited for [s]. Default 2. */
  readonly waitSeconds?: number;
  /** Datagrams get lost. Default 2. */
  readonly questions?: number;
  /** Default: every network of this machine, IPv4 and IPv6. */
  readonly targets?: readonly DiscoveryTarget[];
}

export interface DiscoveryTarget {
  readonly family: "udp4" | "udp6";
  readonly address: string;
}

/** Fifteen letters and the version (API reference, discovery). */
const question = Buffer.from("alpacadiscovery1", "ascii");
const multicastGroup = "ff12::a1:9aca";
const answer = z.object({ AlpacaPort: z.number().int().min(1).max(65535) });

/** Asks every network for Alpaca servers. One server may answer from several addresses; see `listServers`. */
export async function discoverServers(
  options: DiscoveryOptions,
  signal: AbortSignal,
): Promise<readonly DiscoveredServer[]> {
  const { clock, log, port = 32227, waitSeconds = 2, questions = 2 } = options;
  const targets = options.targets ?? discoveryTargets();
  const found = new Map<string, DiscoveredServer>();
  const hear = (datagram: Uint8Array, host: string) => {
    const parsed = answer.safeParse(jsonOf(datagram));
    if (!parsed.success) return; // our own question, or another program's talk
    const server = { host, port: parsed.data.AlpacaPort };
    found.set(`${host} ${server.port}`, server);
  };
  await using sockets = new AsyncDisposableStack();
  const open = new Map<"udp4" | "udp6", Socket>();
  for (const family of new Set(targets.map((target) => target.family))) {
    const socket = await bound(family, hear).catch((error: unknown) => {
      log.debug({ family, error: String(error) }, "no discovery over this kind of network");
      return undefined;
    });
    if (!socket) continue;
    sockets.defer(() => new Promise((resolve) => socket.close(() => resolve())));
    open.set(family, socket);
  }
  for (let i = 0; i < questions; i++) {
    for (const { family, address } of targets) await ask(open.get(family), address, port, log);
    await clock.sleep(waitSeconds, signal);
  }
  return [...found.values()];
}

/** Broadcasts of every network, the loopback one too: servers on this machine need not hear the others. */
export function discoveryTargets(): readonly DiscoveryTarget[] {
  const targets = new Map<string, DiscoveryTarget>();
  const add = (target: DiscoveryTarget) => targets.set(target.address, target);
  add({ family: "udp4", address: "255.255.255.255" });
  for (const [name, addresses] of Object.entries(networkInterfaces())) {
    for (const { family, address, netmask } of addresses ?? []) {
      if (family === "IPv4" && !address.startsWith("169.254.")) {
        add({ family: "udp4", address: broadcastOf(address, netmask) });
      } else if (family === "IPv6" && (address.startsWith("fe80:") || address === "::1")) {
        add({ family: "udp6", address: `${multicastGroup}%${name}` });
      }
    }
  }
  return [...targets.values()];
}

/** The last address of a network. */
export function broadcastOf(address: string, netmask: string): string {
  const mask = netmask.split(".").map(Number);
  return address
    .split(".")
    .map((part, i) => Number(part) | (~mask[i]! & 255))
    .join(".");
}

function bound(family: "udp4" | "udp6", hear: (datagram: Uint8Array, host: string) => void): Promise<Socket> {
  return new Promise((resolve, reject) => {
    const socket = createSocket({ type: family });
    socket.once("error", reject);
    socket.on("message", (datagram, from) => hear(datagram, from.address));
    socket.bind(0, () => {
      socket.removeListener("error", reject);
      socket.on("error", () => {}); // a network that refuses is told by its `send`
      if (family === "udp4") socket.setBroadcast(true);
      resolve(socket);
    });
  });
}

/** A network that cannot be asked is no failure of the others. */
function ask(socket: Socket | undefined, address: string, port: number, log: Log): Promise<void> {
  if (!socket) return Promise.resolve();
  return new Promise((resolve) => {
    const done = (error: Error | null) => {
      if (error) log.debug({ address, error: error.message }, "this network cannot be asked");
      resolve();
    };
    try {
      socket.send(question, port, address, done);
    } catch (error) {
      done(error as Error);
    }
  });
}

function jsonOf(datagram: Uint8Array): unknown {
  try {
    return JSON.parse(new TextDecoder().decode(datagram)) as unknown;
  } catch {
    return undefined;
  }
}
