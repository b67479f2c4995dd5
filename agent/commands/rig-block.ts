import type { FoundDevice, FoundServer } from "../../drivers/find-servers.ts";

interface Line {
  readonly role: string;
  readonly text: string;
}

/**
 * The `servers` and `devices` of a rig file for what was found: the first device for each role, every further one
 * behind a `#`. It is for a person to read before it is used.
 */
export function rigBlock(servers: readonly FoundServer[]): string {
  const names = serverNames(servers);
  const lines = servers.flatMap((server, i) =>
    server.devices.flatMap((one) => deviceLines(server, names[i]!, one)),
  );
  const taken = new Set<string>();
  const devices = lines.map(({ role, text }) => {
    const isFirst = role !== "" && !taken.has(role);
    if (isFirst) taken.add(role);
    return `  ${isFirst ? "" : "# "}${text}`;
  });
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
  const counts = { alpaca: 0, indi: 0 };
  return servers.map(({ protocol }) => {
    const count = ++counts[protocol];
    return count === 1 ? protocol : `${protocol}-${count}`;
  });
}

function deviceLines(server: FoundServer, serverName: string, device: FoundDevice): Line[] {
  const { protocol, devices } = server;
  // A name that stands twice in a server's list names neither; the address does.
  const isPlain = devices.filter(({ name }) => name === device.name).length === 1;
  const called = JSON.stringify(protocol === "indi" || isPlain ? device.name : device.kind);
  const entry = `server: ${serverName}, device: ${called}`;
  const [role] = device.roles;
  if (role === undefined) return [];
  if (device.kind.startsWith("switch/")) {
    return [{ role: "", text: `${role}: { ${entry}, switch: NAME OR NUMBER }` }];
  }
  const isSecondary = device.kind.startsWith("observingconditions/");
  const monitor = devices.find(({ kind }) => kind.startsWith("safetymonitor/"));
  if (isSecondary && monitor) return []; // told beside the monitor
  if (device.kind.startsWith("safetymonitor/")) {
    const station = devices.find(({ kind }) => kind.startsWith("observingconditions/"));
    const conditions = station === undefined ? "" : `, conditions: ${station.kind}`;
    return [{ role, text: `${role}: { ${entry}${conditions} }` }];
  }
  return device.roles.map((one) => ({
    role: one === role ? one : "",
    text: `${one}: { ${entry} }`,
  }));
}
