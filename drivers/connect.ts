import { DeviceError } from "./kit/errors.ts";
import { given } from "./kit/given.ts";
import { RigSeal } from "./kit/seal.ts";
import type { Address, OpenableDevice } from "./protocol.ts";
import { type AnyDeviceEntry, type ConnectTools, type ProtocolKind, protocols } from "./protocols.ts";
import { absentCamera } from "./roles/absent-camera.ts";
import type { Rig, RigDevice } from "./roles/rig.ts";
import type { RoleName } from "./roles/roles.ts";

/** A server of the rig file, by its protocol. */
export type ServerEntry = { [K in ProtocolKind]: { readonly [Key in K]: Address } }[ProtocolKind];

/** A device that a server drives. */
export type DrivenEntry = AnyDeviceEntry & { readonly server: string };

/** Put on and taken off by a person: nothing to connect. */
export interface HandEntry {
  readonly by: "hand";
}

export interface RigEntries {
  readonly servers: Readonly<Record<string, ServerEntry>>;
  readonly devices: Readonly<Partial<Record<RoleName, DrivenEntry | HandEntry | undefined>>>;
}

export type ConnectOptions = ConnectTools & {
  /** Told of each device, before it is connected, whether it was found so: a crash must not make that forgotten. */
  readonly found?: (role: RoleName, device: string, connected: boolean) => void;
  /** Goes on without the devices that did not open, and tells of them: to put back what answers. */
  readonly goOnWithout?: (failures: RigNotConnectedError) => void;
  /** Called with each device as soon as it is open. */
  readonly opened?: (device: RigDevice) => void;
  /** Default: a closed one. Whoever puts a rig back brings an open one. */
  readonly seal?: RigSeal;
};

/** Every device that did not open, at once: a person fixes all of them in one go. */
export class RigNotConnectedError extends AggregateError {
  readonly code = "RIG_NOT_CONNECTED";
  readonly whatToDo = "Check power, cables, device servers and the device names in the rig file.";
  /** Roles whose devices were found disconnected and may not be so again: the link to them was gone. */
  leftConnected: readonly RoleName[] = [];
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

/** Nothing can change the rig until its seal is opened: what the commands do that only look holds by itself. */
interface Opened extends AsyncDisposable {
  readonly rig: Rig;
  /** Every device of each server, by the server's name in the rig file. */
  readonly offered: Readonly<Record<string, readonly string[]>>;
  readonly seal: RigSeal;
  /** After it was disposed of: roles whose devices were found disconnected and may not be so again. */
  leftConnected(): readonly RoleName[];
}

/**
 * Opens every device of a rig as its role. Devices on one server share one client.
 * Nothing is changed on the rig but CONNECTION of devices that were disconnected; disposing puts that back.
 * @throws RigNotConnectedError naming all that failed, after everything that did open was closed again, or none opened;
 *   the signal's reason if aborted
 */
export async function connectRig(
  entries: RigEntries,
  options: ConnectOptions,
  signal: AbortSignal,
): Promise<Opened> {
  const stack = new AsyncDisposableStack();
  const made: { readonly role: RoleName; readonly device: OpenableDevice }[] = [];
  const { seal = new RigSeal() } = options;
  const servers = new Map<string, ReturnType<typeof openServer>>();
  const serverCalled = async (name: string) => {
    const known =
      servers.get(name) ?? openServer(name, entries.servers[name], { ...options, seal }, stack, signal);
    servers.set(name, known);
    return known;
  };
  const wanted = Object.entries(entries.devices).filter(
    (pair): pair is [RoleName, DrivenEntry] => pair[1] !== undefined && "device" in pair[1],
  );
  // A device that serves two roles (a camera with a wheel inside) is connected, and put back, by the first of them.
  const owners = new Map<string, Promise<unknown>>();
  /** All at once, for a slow server takes seconds over each; then the links. */
  const closeAll = async () => {
    await using links = stack;
    void links;
    const closed = await Promise.allSettled(made.map(({ device }) => device[Symbol.asyncDispose]()));
    const failed = closed.find((one) => one.status === "rejected");
    if (failed) throw failed.reason;
  };
  const leftConnected = () => made.filter(({ device }) => device.isLeftConnected).map(({ role }) => role);
  const openRole = async (role: RoleName, entry: DrivenEntry, owner: Promise<unknown> | undefined) => {
    await owner?.catch(() => {});
    const server = await serverCalled(entry.server);
    const { found } = options;
    const device = server.role(role, entry, {
      ownsConnection: owner === undefined,
      ...given({ found: found && ((connected: boolean) => found(role, entry.device, connected)) }),
    });
    made.push({ role, device }); // before it is opened: one that connects and then lacks something is left as it was found
    const opened = (await device.open(signal)) as RigDevice;
    options.opened?.(opened);
    return [role, opened] as const;
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
    if (failures.length > 0) {
      const notConnected = new RigNotConnectedError(failures);
      if (!options.goOnWithout || failures.length === wanted.length) throw notConnected;
      options.goOnWithout(notConnected);
    }
    const opened = results.flatMap((result) => (result.status === "fulfilled" ? [result.value] : []));
    const noCamera = failures.find(({ role }) => role === "camera");
    // Who only looks at a rig at rest names no camera.
    const notWanted = entries.devices.camera
      ? undefined
      : { device: "camera", error: new Error("it was not connected") };
    const without = noCamera ?? notWanted;
    const camera = without && absentCamera(without.device, without.error);
    const rig = { ...(camera && { camera }), ...Object.fromEntries(opened) } as Partial<Rig>;
    if (!rig.camera) throw new TypeError("a rig needs a camera"); // the rig file's schema sees to it
    const offered = await deviceNames(servers);
    return { rig: rig as Rig, offered, seal, leftConnected, [Symbol.asyncDispose]: closeAll };
  } catch (error) {
    await closeAll();
    if (error instanceof RigNotConnectedError) error.leftConnected = leftConnected();
    throw error;
  }
}

async function deviceNames(servers: ReadonlyMap<string, ReturnType<typeof openServer>>) {
  const reached = await Promise.allSettled(
    [...servers].map(async ([name, server]) => [name, (await server).deviceNames()] as const),
  );
  return Object.fromEntries(reached.flatMap((one) => (one.status === "fulfilled" ? [one.value] : [])));
}

function openServer(
  name: string,
  entry: ServerEntry | undefined,
  options: ConnectOptions & { readonly seal: RigSeal },
  stack: AsyncDisposableStack,
  signal: AbortSignal,
) {
  if (entry === undefined) throw new TypeError(`no server is called "${name}"`);
  const protocol = protocols.find(({ kind }) => kind in entry);
  if (!protocol) throw new TypeError(`the server "${name}" speaks no protocol that is known here`);
  const address = (entry as Readonly<Partial<Record<ProtocolKind, Address>>>)[protocol.kind]!;
  return protocol.open(name, address, options, stack, signal);
}

function asError(reason: unknown): Error {
  return reason instanceof Error ? reason : new Error(String(reason));
}
