import { listServer, type ServerListing, withoutTwins } from "./alpaca/session/server-listing.ts";
import { type DiscoveredServer, type DiscoveryTarget, discoverServers } from "./alpaca/wire/discovery.ts";
import { UndiciExchange } from "./alpaca/wire/undici-exchange.ts";
import { listIndiServer } from "./indi/session/server-listing.ts";
import type { Clock } from "./kit/clock.ts";
import type { HttpExchange } from "./kit/http-link.ts";
import type { OpenLink } from "./kit/links.ts";
import type { Log } from "./kit/log.ts";
import type { Random } from "./kit/random.ts";
import { tcpOpener } from "./kit/tcp-link.ts";
import type { RoleName } from "./roles/device.ts";

export interface Address {
  readonly host: string;
  readonly port: number;
}

export interface FoundDevice {
  readonly name: string;
  /** What the protocol calls it: `camera/0`, or the INDI driver's name. */
  readonly kind: string;
  readonly version: string;
  /** What it could be in a rig; empty for what a rig has no use for. */
  readonly roles: readonly RoleName[];
}

export interface FoundServer extends Address {
  readonly protocol: "alpaca" | "indi";
  readonly name: string;
  readonly version: string;
  readonly devices: readonly FoundDevice[];
}

export interface FindOptions {
  readonly clock: Clock;
  readonly log: Log;
  readonly random: Random;
  readonly indi: readonly Address[];
  /** Alpaca servers asked directly: another network's, or one that does not answer discovery. */
  readonly alpaca: readonly Address[];
  readonly discovery?: {
    readonly port?: number;
    readonly waitSeconds?: number;
    readonly targets?: readonly DiscoveryTarget[];
  };
  /** Default: sockets. */
  readonly exchange?: (server: Address) => HttpExchange;
  readonly openers?: (server: Address) => OpenLink;
}

export interface Findings {
  readonly servers: readonly FoundServer[];
  /** Servers that were named or that answered, and then told nothing. */
  readonly silent: readonly (Address & { readonly protocol: "alpaca" | "indi"; readonly reason: string })[];
}

/** Looks for Alpaca servers on every network and asks the INDI servers that are named. Connects no device. */
export async function findServers(options: FindOptions, signal: AbortSignal): Promise<Findings> {
  const servers: FoundServer[] = [];
  const silent: Findings["silent"][number][] = [];
  const note =
    (protocol: "alpaca" | "indi", { host, port }: Address) =>
    (error: unknown) => {
      signal.throwIfAborted();
      silent.push({ protocol, host, port, reason: error instanceof Error ? error.message : String(error) });
      return undefined;
    };
  const [discovered, ...indi] = await Promise.all([
    discoverServers({ clock: options.clock, log: options.log, ...options.discovery }, signal),
    ...options.indi.map((server) => indiServer(server, options, signal).catch(note("indi", server))),
  ]);
  const asked = new Map([...discovered, ...options.alpaca].map((one) => [`${one.host} ${one.port}`, one]));
  const listings = await Promise.all(
    [...asked.values()].map((one) => alpacaServer(one, options, signal).catch(note("alpaca", one))),
  );
  for (const listing of withoutTwins(listings.filter((one) => one !== undefined)))
    servers.push(fromAlpaca(listing));
  servers.push(...indi.filter((one) => one !== undefined));
  return { servers, silent };
}

function alpacaServer(
  server: DiscoveredServer,
  options: FindOptions,
  signal: AbortSignal,
): Promise<ServerListing> {
  const { clock, log, random } = options;
  const exchange = options.exchange ?? ((one: Address) => new UndiciExchange(one, clock));
  const clientId = random.fork("alpaca discovery").whole(1, 65535);
  return listServer(server, { clock, log, clientId, exchange }, signal);
}

const rolesOfType: Readonly<Record<string, readonly RoleName[]>> = {
  camera: ["camera"],
  telescope: ["mount"],
  focuser: ["focuser"],
  covercalibrator: ["cover", "diffuser"],
  filterwheel: ["wheel"],
  rotator: ["rotator"],
  dome: ["dome"],
  safetymonitor: ["weather"],
  observingconditions: ["weather"],
  switch: ["diffuser", "cover"],
};

function fromAlpaca({ host, port, description, devices }: ServerListing): FoundServer {
  const { serverName, manufacturer, version } = description;
  return {
    protocol: "alpaca",
    host,
    port,
    name: serverName === "" ? manufacturer : serverName,
    version,
    devices: devices.map((device) => ({
      name: device.name,
      kind: `${device.type}/${device.number}`,
      version: device.driverVersion,
      roles: rolesOfType[device.type] ?? [],
    })),
  };
}

/** DRIVER_INTERFACE of the INDI standard; a bit for each thing that a driver can be. */
const roleBits: readonly (readonly [bit: number, role: RoleName])[] = [
  [2, "camera"],
  [1, "mount"],
  [8, "focuser"],
  [512, "cover"],
  [512, "diffuser"],
  [16, "wheel"],
  [4096, "rotator"],
  [32, "dome"],
  [128, "weather"],
];

async function indiServer(server: Address, options: FindOptions, signal: AbortSignal): Promise<FoundServer> {
  const { clock, log, random } = options;
  const open = (options.openers ?? tcpOpener)(server);
  const serverName = `INDI server ${server.host}:${server.port}`;
  const devices = await listIndiServer({ open, clock, log, random, serverName }, signal);
  return {
    protocol: "indi",
    ...server,
    name: "",
    version: "",
    devices: devices.map(({ name, driver, version, interfaceBits }) => ({
      name,
      kind: driver,
      version,
      roles: roleBits.filter(([bit]) => (interfaceBits & bit) !== 0).map(([, role]) => role),
    })),
  };
}
