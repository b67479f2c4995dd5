import type { OpenLink } from "../kit/links.ts";
import { tcpOpener } from "../kit/tcp-link.ts";
import { type Address, askEach, type FoundServer, type Protocol, type ProtocolTools } from "../protocol.ts";
import { roleNames } from "../roles/roles.ts";
import { type IndiEntry, roleTable } from "./role-table.ts";
import { IndiClient } from "./session/client.ts";
import { listIndiServer } from "./session/server-listing.ts";

/** An INDI server of the rig file. */
export interface IndiServerEntry {
  readonly indi: Address;
}

interface IndiLinks {
  /** How to reach an INDI server: TCP as a rule, memory for rehearsals and tests. */
  readonly openers: (server: IndiServerEntry, name: string) => OpenLink;
}

interface IndiFindOptions {
  /** INDI servers do not announce themselves. */
  readonly indi: readonly Address[];
  /** Default: sockets. */
  readonly openers?: (server: Address) => OpenLink;
}

export const indi: Protocol<"indi", IndiEntry, IndiLinks, IndiFindOptions> = {
  kind: "indi",
  async open(name, address, { clock, log, random, seal, openers }, stack, signal) {
    const client = new IndiClient({
      open: openers({ indi: address }, name),
      clock,
      log,
      random: random.fork(`indi server ${name}`),
      serverName: serverName(address),
      seal,
    });
    stack.use(client);
    await client.connect(signal);
    return {
      deviceNames: () => client.deviceNames(),
      role: (role, entry, tools) =>
        roleTable[role].make({ device: client.device(entry.device), clock, log, ...tools }, entry, client),
    };
  },
  async find(options, signal) {
    const ask = (server: Address) => listServer(server, options, signal);
    const { listings, silent } = await askEach("indi", options.indi, ask, signal);
    return { servers: listings, silent };
  },
};

const serverName = ({ host, port }: Address) => `INDI server ${host}:${port}`;

async function listServer(
  server: Address,
  { clock, log, random, openers = tcpOpener }: ProtocolTools & IndiFindOptions,
  signal: AbortSignal,
): Promise<FoundServer> {
  const tools = { open: openers(server), clock, log, random, serverName: serverName(server) };
  const devices = await listIndiServer(tools, signal);
  return {
    protocol: "indi",
    ...server,
    name: "",
    version: "",
    devices: devices.map(({ name, driver, version, interfaceBits }) => ({
      name,
      kind: driver,
      version,
      roles: roleNames.filter((role) => (interfaceBits & roleTable[role].interfaceBit) !== 0),
    })),
  };
}
