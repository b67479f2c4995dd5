import type { Clock } from "../../kit/clock.ts";
import { DeviceError } from "../../kit/errors.ts";
import type { HttpExchange } from "../../kit/http-link.ts";
import type { Log } from "../../kit/log.ts";
import { RigSeal } from "../../kit/seal.ts";
import type { DiscoveredServer } from "../wire/discovery.ts";
import {
  apiVersions,
  describeServer,
  type ListedDevice,
  listDevices,
  type ServerDescription,
} from "../wire/management.ts";
import { AlpacaServer } from "../wire/server.ts";
import { text } from "../wire/values.ts";
import { AlpacaDevice } from "./device.ts";

export interface ServerListing {
  readonly host: string;
  readonly port: number;
  readonly description: ServerDescription;
  readonly devices: readonly (ListedDevice & { readonly driverVersion: string })[];
}

export interface ListingTools {
  readonly clock: Clock;
  readonly log: Log;
  readonly clientId: number;
  readonly exchange: (server: DiscoveredServer) => HttpExchange;
}

/** What one server says of itself and its devices; connects none of them. @throws DeviceError, also for a server of another protocol version */
export async function listServer(
  server: DiscoveredServer,
  { clock, log, clientId, exchange }: ListingTools,
  signal: AbortSignal,
): Promise<ServerListing> {
  const name = `Alpaca server ${server.host}:${server.port}`;
  await using asked = new AlpacaServer({
    exchange: exchange(server),
    clock,
    log,
    clientId,
    name,
    seal: new RigSeal(),
  });
  const versions = await apiVersions(asked, signal);
  if (!versions.includes(1)) {
    log.warn(
      { server: name, versions },
      "this server does not claim version 1 of the protocol, the only one known",
    );
  }
  const description = await describeServer(asked, signal).catch((error: unknown) => {
    signal.throwIfAborted();
    if (!(error instanceof DeviceError)) throw error;
    log.debug({ server: name, error: String(error) }, "the server does not describe itself");
    return { serverName: "", manufacturer: "", version: "", location: "" };
  });
  const devices: (ListedDevice & { driverVersion: string })[] = [];
  for (const listed of await listDevices(asked, signal)) {
    devices.push({ ...listed, driverVersion: await driverVersion(new AlpacaDevice(asked, listed), signal) });
  }
  return { ...server, description, devices };
}

/** Some devices tell nothing before they are connected. */
async function driverVersion(device: AlpacaDevice, signal: AbortSignal): Promise<string> {
  try {
    return (await device.optional("driverversion", text, signal)) ?? "";
  } catch (error) {
    signal.throwIfAborted();
    if (!(error instanceof DeviceError)) throw error;
    return "";
  }
}

/** A server that answered from several addresses, known by its devices' ids: kept once, this machine's address first. */
export function withoutTwins(listings: readonly ServerListing[]): readonly ServerListing[] {
  const rank = ({ host }: ServerListing) => (host.startsWith("127.") ? 0 : host.includes(":") ? 2 : 1);
  const kept = new Map<string, ServerListing>();
  for (const listing of listings.toSorted((a, b) => rank(a) - rank(b))) {
    const ids = listing.devices.map(({ uniqueId }) => uniqueId).filter((id) => id !== "");
    const key = ids.length > 0 ? `${listing.port} ${ids.sort().join()}` : `${listing.host} ${listing.port}`;
    if (!kept.has(key)) kept.set(key, listing);
  }
  return [...kept.values()];
}
