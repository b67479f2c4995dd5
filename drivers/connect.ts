import { type AlpacaEntry, AlpacaRigServer } from "./alpaca/rig-server.ts";
import { AlpacaServer } from "./alpaca/wire/server.ts";
import { UndiciExchange } from "./alpaca/wire/undici-exchange.ts";
import { IndiCamera } from "./indi/roles/camera.ts";
import type { CameraOptions } from "./indi/roles/camera-options.ts";
import { IndiCover } from "./indi/roles/cover.ts";
import { type DomeOptions, IndiDome } from "./indi/roles/dome.ts";
import { type FocuserOptions, IndiFocuser } from "./indi/roles/focuser.ts";
import { IndiMount, type MountOptions } from "./indi/roles/mount.ts";
import { IndiRotator } from "./indi/roles/rotator.ts";
import { IndiWeather } from "./indi/roles/weather.ts";
import { IndiWheel } from "./indi/roles/wheel.ts";
import { IndiClient } from "./indi/session/client.ts";
import type { IndiRole, RoleContext } from "./indi/session/indi-role.ts";
import type { Clock } from "./kit/clock.ts";
import { DeviceError } from "./kit/errors.ts";
import type { HttpExchange } from "./kit/http-link.ts";
import type { OpenLink } from "./kit/links.ts";
import type { Log } from "./kit/log.ts";
import type { Random } from "./kit/random.ts";
import type { Device, RoleName } from "./roles/device.ts";
import type { Rig } from "./roles/rig.ts";

/** An INDI server of the rig file. */
export interface ServerEntry {
  readonly indi: { readonly host: string; readonly port: number };
}

export interface AlpacaServerEntry {
  readonly alpaca: { readonly host: string; readonly port: number };
}

/** A further protocol is a further kind here and a further case in `openServer`. */
export type AnyServerEntry = ServerEntry | AlpacaServerEntry;

/** A device that a server drives, with what the rig file may add where a driver's own account does not do. */
export interface DrivenEntry extends CameraOptions, FocuserOptions, MountOptions, DomeOptions, AlpacaEntry {
  readonly server: string;
  readonly device: string;
  /** Cover and diffuser: longest time for one way [s]. */
  readonly travelSecondsMax?: number;
}

/** Put on and taken off by a person: nothing to connect. */
export interface HandEntry {
  readonly by: "hand";
}

export interface RigEntries {
  readonly servers: Readonly<Record<string, AnyServerEntry>>;
  readonly devices: Readonly<Partial<Record<RoleName, DrivenEntry | HandEntry | undefined>>>;
}

export interface ConnectOptions {
  readonly clock: Clock;
  readonly log: Log;
  readonly random: Random;
  /** How to reach an INDI server: TCP as a rule, memory for rehearsals and tests. */
  readonly openers: (server: ServerEntry, name: string) => OpenLink;
  /** How to reach an Alpaca server. Default: HTTP over sockets. */
  readonly exchanges?: (server: AlpacaServerEntry, name: string) => HttpExchange;
  /** Told of each device, before it is connected, whether it was found so: a crash must not make that forgotten. */
  readonly found?: (role: RoleName, device: string, connected: boolean) => void;
}

/** Every device that did not open, at once: a person fixes all of them in one go. */
export class RigNotConnectedError extends AggregateError {
  readonly code = "RIG_NOT_CONNECTED";
  readonly whatToDo = "Check power, cables, device servers and the device names in the rig file.";
  constructor(
    readonly failures: readonly { readonly role: RoleName; readonly device: string; readonly error: Error }[],
  ) {
    const lines = failures.map(
      ({ role, device, error }) =>
        `${role}: ${error instanceof DeviceError ? error.message : `${device}: ${error.message}`}`,
    );
    super(
      failures.map(({ error }) => error),
      `${failures.length} of the rig's devices did not open\n  ${lines.join("\n  ")}`,
    );
    this.name = "RigNotConnectedError";
  }
}

type Opened = { rig: Rig } & AsyncDisposable;

/**
 * Opens every device of a rig as its role. Devices on one server share one client.
 * Nothing is changed on the rig but CONNECTION of devices that were disconnected; disposing puts that back.
 * @throws RigNotConnectedError naming all that failed, after everything that did open was closed again;
 *   the signal's reason if aborted
 */
export async function connectRig(
  entries: RigEntries,
  options: ConnectOptions,
  signal: AbortSignal,
): Promise<Opened> {
  const stack = new AsyncDisposableStack();
  const servers = new Map<string, Promise<ServerLink>>();
  const linkTo = (name: string): Promise<ServerLink> => {
    const known = servers.get(name) ?? openServer(name, entries.servers[name], options, stack, signal);
    servers.set(name, known);
    return known;
  };
  const wanted = Object.entries(entries.devices).filter(
    (pair): pair is [RoleName, DrivenEntry] => pair[1] !== undefined && "device" in pair[1],
  );
  // A device that serves two roles (a camera with a wheel inside) is connected, and put back, by the first of them.
  const owners = new Map<string, Promise<unknown>>();
  const openRole = async (role: RoleName, entry: DrivenEntry, owner: Promise<unknown> | undefined) => {
    await owner?.catch(() => {});
    const link = await linkTo(entry.server);
    return [role, await link.openRole(role, entry, owner === undefined, signal)] as const;
  };

  try {
    const results = await Promise.allSettled(
      wanted.map(([role, entry]) => {
        const key = JSON.stringify([entry.server, entry.device]);
        const opening = openRole(role, entry, owners.get(key));
        owners.set(key, owners.get(key) ?? opening);
        return opening;
      }),
    );
    signal.throwIfAborted();
    const failures = results.flatMap((result, i) => {
      const [role, { device }] = wanted[i]!;
      return result.status === "rejected" ? [{ role, device, error: asError(result.reason) }] : [];
    });
    if (failures.length > 0) throw new RigNotConnectedError(failures);
    const opened = results.flatMap((result) => (result.status === "fulfilled" ? [result.value] : []));
    const rig = Object.fromEntries(opened) as Partial<Rig>;
    if (!rig.camera) throw new TypeError("a rig needs a camera"); // the rig file's schema sees to it
    return { rig: rig as Rig, [Symbol.asyncDispose]: () => stack.disposeAsync() };
  } catch (error) {
    await stack.disposeAsync();
    throw error;
  }
}

/** One server, whatever its protocol. */
interface ServerLink {
  openRole(role: RoleName, entry: DrivenEntry, ownsConnection: boolean, signal: AbortSignal): Promise<Device>;
}

/** The only place that knows which protocols there are. */
async function openServer(
  name: string,
  server: AnyServerEntry | undefined,
  options: ConnectOptions,
  stack: AsyncDisposableStack,
  signal: AbortSignal,
): Promise<ServerLink> {
  if (server === undefined) throw new TypeError(`no server is called "${name}"`);
  if ("indi" in server) return openIndiServer(name, server, options, stack, signal);
  if ("alpaca" in server) return openAlpacaServer(name, server, options, stack, signal);
  throw new TypeError(`the server "${name}" speaks no protocol that is known here`);
}

async function openIndiServer(
  name: string,
  server: ServerEntry,
  { clock, log, random, openers, found }: ConnectOptions,
  stack: AsyncDisposableStack,
  signal: AbortSignal,
): Promise<ServerLink> {
  const client = new IndiClient({
    open: openers(server, name),
    clock,
    log,
    random: random.fork(`indi server ${name}`),
    serverName: `INDI server ${server.indi.host}:${server.indi.port}`,
  });
  stack.use(client);
  await client.connect(signal);
  return {
    async openRole(role, entry, ownsConnection, abort) {
      const context: RoleContext = {
        device: client.device(entry.device),
        clock,
        log,
        ownsConnection,
        ...(found === undefined ? {} : { found: (connected) => found(role, entry.device, connected) }),
      };
      const device = indiRole(role, context, client, entry);
      stack.use(device); // before it is opened: one that connects and then lacks something is left as it was found
      return device.open(abort);
    },
  };
}

async function openAlpacaServer(
  name: string,
  entry: AlpacaServerEntry,
  { clock, log, random, exchanges, found }: ConnectOptions,
  stack: AsyncDisposableStack,
  signal: AbortSignal,
): Promise<ServerLink> {
  const server = new AlpacaServer({
    exchange: exchanges?.(entry, name) ?? new UndiciExchange(entry.alpaca, clock),
    clock,
    log,
    clientId: random.fork(`alpaca client of ${name}`).whole(1, 65535),
    name: `Alpaca server ${entry.alpaca.host}:${entry.alpaca.port}`,
  });
  stack.use(server);
  const rigServer = new AlpacaRigServer(server, clock, log);
  await rigServer.open(signal);
  return {
    async openRole(role, named, ownsConnection, abort) {
      const tellFound = found && ((connected: boolean) => found(role, named.device, connected));
      const tools = { ownsConnection, ...(tellFound ? { found: tellFound } : {}) };
      const device = rigServer.role(role, named, tools);
      stack.use(device);
      return device.open(abort);
    },
  };
}

function indiRole(role: RoleName, context: RoleContext, client: IndiClient, entry: DrivenEntry): IndiRole {
  switch (role) {
    case "camera": {
      const enable = (property: string) => client.enableBlobs(entry.device, property);
      return new IndiCamera(context, { enable, ordered: client.ordersBlobs }, entry);
    }
    case "mount":
      return new IndiMount(context, entry);
    case "focuser":
      return new IndiFocuser(context, entry);
    case "cover":
    case "diffuser":
      return new IndiCover(context, { ...entry, role });
    case "wheel":
      return new IndiWheel(context);
    case "rotator":
      return new IndiRotator(context);
    case "dome":
      return new IndiDome(context, entry);
    case "weather":
      return new IndiWeather(context);
  }
}

function asError(reason: unknown): Error {
  return reason instanceof Error ? reason : new Error(String(reason));
}
