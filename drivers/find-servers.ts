import type { FoundDevices } from "./protocol.ts";
import { type FindOptions, protocols } from "./protocols.ts";

/** Looks for servers that announce themselves and asks those that are named. Connects no device. */
export async function findServers(options: FindOptions, signal: AbortSignal): Promise<FoundDevices> {
  const found = await Promise.all(protocols.map((protocol) => protocol.find(options, signal)));
  return {
    servers: found.flatMap(({ servers }) => servers),
    silent: found.flatMap(({ silent }) => silent),
  };
}
