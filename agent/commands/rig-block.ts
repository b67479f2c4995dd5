import type { FoundDevice, FoundServer } from "../../drivers/protocol.ts";
import type { RoleName } from "../../drivers/roles/roles.ts";

/** Which device is what to the rig: those that were chosen, else each in the first of its roles that is still free. */
export function assignRoles(
  servers: readonly FoundServer[],
  chosen: ReadonlyMap<RoleName, FoundDevice | "by hand"> = new Map(),
): ReadonlyMap<RoleName, FoundDevice | "by hand"> {
  const assigned = new Map(chosen);
  for (const server of servers) {
    for (const device of server.devices) {
      const isChosen = [...assigned.values()].includes(device);
      if (isChosen || isSwitch(device) || isToldElsewhere(server, device)) continue;
      const free = device.roles.find((role) => !assigned.has(role));
      if (free !== undefined) assigned.set(free, device);
    }
  }
  return assigned;
}

/** Which of its switches moves something only a person knows. */
export const isSwitch = ({ kind }: FoundDevice) => kind.startsWith("switch/");

/**
 * The `servers` and `devices` of a rig file for what was found: each device in its role, every further one behind a `#`. It
 * is for a person to read before it is used.
 */
export function rigBlock(servers: readonly FoundServer[], assigned = assignRoles(servers)): string {
  const names = serverNames(servers);
  const devices = servers.flatMap((server, i) =>
    server.devices.flatMap((device) => {
      const { roles } = device;
      if (roles.length === 0 || isToldElsewhere(server, device)) return [];
      const entry = `server: ${names[i]}, device: ${calledIn(server, device)}${more(server, device)}`;
      if (isSwitch(device)) return [`  # ${roles[0]}: { ${entry}, switch: NAME OR NUMBER }`];
      const [own] = [...assigned].find(([, one]) => one === device) ?? [];
      return [own === undefined ? `  # ${roles[0]}: { ${entry} }` : `  ${own}: { ${entry} }`];
    }),
  );
  return [
    "servers:",
    ...servers.map(
      ({ protocol, host, port }, i) =>
        `  ${names[i]}:\n    ${protocol}: { host: ${JSON.stringify(host)}, port: ${port} }`,
    ),
    "devices:",
    ...devices,
  ].join("\n");
}

/** `alpaca`, `alpaca-2`, `indi`: to be renamed by whoever pastes them. */
function serverNames(servers: readonly FoundServer[]): readonly string[] {
  const counts = new Map<string, number>();
  return servers.map(({ protocol }) => {
    const count = (counts.get(protocol) ?? 0) + 1;
    counts.set(protocol, count);
    return count === 1 ? protocol : `${protocol}-${count}`;
  });
}

/** A name that stands twice in a server's list names neither; the address does. */
function calledIn({ protocol, devices }: FoundServer, { name, kind }: FoundDevice): string {
  const isPlain = devices.filter((device) => device.name === name).length === 1;
  return JSON.stringify(protocol === "indi" || isPlain ? name : kind);
}

const ofType = ({ devices }: FoundServer, type: string) =>
  devices.find(({ kind }) => kind.startsWith(`${type}/`));

/** A safety monitor and a weather station of one server go together. */
function more(server: FoundServer, { kind }: FoundDevice): string {
  const station = kind.startsWith("safetymonitor/") ? ofType(server, "observingconditions") : undefined;
  return station === undefined ? "" : `, conditions: ${station.kind}`;
}

function isToldElsewhere(server: FoundServer, { kind }: FoundDevice): boolean {
  return kind.startsWith("observingconditions/") && ofType(server, "safetymonitor") !== undefined;
}
