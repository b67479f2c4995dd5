import type { FoundDevice, FoundServer } from "../../drivers/protocol.ts";

/**
 * The `servers` and `devices` of a rig file for what was found: each device in the first of its roles that is still
 * free, every further one behind a `#`. It is for a person to read before it is used.
 */
export function rigBlock(servers: readonly FoundServer[]): string {
  const names = serverNames(servers);
  const taken = new Set<string>();
  const devices = servers.flatMap((server, i) =>
    server.devices.flatMap((device) => {
      const { roles, kind } = device;
      if (roles.length === 0 || isToldElsewhere(server, device)) return [];
      const entry = `server: ${names[i]}, device: ${calledIn(server, device)}${more(server, device)}`;
      // Which of its switches moves something only a person knows.
      if (kind.startsWith("switch/")) return [`  # ${roles[0]}: { ${entry}, switch: NAME OR NUMBER }`];
      const free = roles.find((role) => !taken.has(role));
      if (free === undefined) return [`  # ${roles[0]}: { ${entry} }`];
      taken.add(free);
      return [`  ${free}: { ${entry} }`];
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
