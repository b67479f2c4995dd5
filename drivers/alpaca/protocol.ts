import type { HttpExchange } from "../kit/http-link.ts";
import { type Address, askEach, type FoundServer, type Protocol } from "../protocol.ts";
import { AlpacaRigServer } from "./rig-server.ts";
import { type AlpacaEntry, rolesOfType } from "./role-table.ts";
import { listServer, type ServerListing, withoutTwins } from "./session/server-listing.ts";
import { type DiscoveryTarget, discoverServers } from "./wire/discovery.ts";
import { AlpacaServer } from "./wire/server.ts";
import { UndiciExchange } from "./wire/undici-exchange.ts";

/** An Alpaca server of the rig file. */
export interface AlpacaServerEntry {
  readonly alpaca: Address;
}

interface AlpacaLinks {
  /** How to reach an Alpaca server. Default: HTTP over sockets. */
  readonly exchanges?: (server: AlpacaServerEntry, name: string) => HttpExchange;
}

interface AlpacaFindOptions {
  /** Alpaca servers asked directly: another network's, or one that does not answer discovery. */
  readonly alpaca: readonly Address[];
  readonly discovery?: {
    readonly port?: number;
    readonly waitSeconds?: number;
    readonly targets?: readonly DiscoveryTarget[];
  };
  /** Default: sockets. */
  readonly exchange?: (server: Address) => HttpExchange;
}

const clientIdMax = 65535;

export const alpaca: Protocol<"alpaca", AlpacaEntry, AlpacaLinks, AlpacaFindOptions> = {
  kind: "alpaca",
  async open(name, address, { clock, log, random, seal, exchanges }, stack, signal) {
    const server = new AlpacaServer({
      exchange: exchanges?.({ alpaca: address }, name) ?? new UndiciExchange(address, clock),
      clock,
      log,
      clientId: random.fork(`alpaca client of ${name}`).whole(1, clientIdMax),
      name: `Alpaca server ${address.host}:${address.port}`,
      seal,
    });
    stack.use(server);
    const rigServer = new AlpacaRigServer(server, { clock, log });
    await rigServer.open(signal);
    return rigServer;
  },
  async find({ clock, log, random, alpaca: named, discovery, exchange }, signal) {
    const discovered = await discoverServers({ clock, log, ...discovery }, signal);
    const asked = new Map([...discovered, ...named].map((one) => [`${one.host} ${one.port}`, one]));
    const clientId = random.fork("alpaca discovery").whole(1, clientIdMax);
    const tools = {
      clock,
      log,
      clientId,
      exchange: exchange ?? ((one: Address) => new UndiciExchange(one, clock)),
    };
    const ask = (server: Address) => listServer(server, tools, signal);
    const { listings, silent } = await askEach("alpaca", [...asked.values()], ask, signal);
    return { servers: withoutTwins(listings).map(foundServer), silent };
  },
};

function foundServer({ host, port, description, devices }: ServerListing): FoundServer {
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
      roles: rolesOfType(device.type),
    })),
  };
}
