import type { Clock } from "./kit/clock.ts";
import type { Log } from "./kit/log.ts";
import type { Random } from "./kit/random.ts";
import type { RigSeal } from "./kit/seal.ts";
import type { Device } from "./roles/device.ts";
import type { DomeOptions } from "./roles/dome.ts";
import type { FocuserOptions } from "./roles/focuser.ts";
import type { DeviceTools } from "./roles/kept-device.ts";
import type { MountOptions } from "./roles/mount.ts";
import type { RoleName } from "./roles/roles.ts";

export interface Address {
  readonly host: string;
  readonly port: number;
}

/** A device on a server, with what the rig file may say of it over any protocol; each may add to that. */
export interface DeviceEntry extends DomeOptions, FocuserOptions, MountOptions {
  /** Its name as its server gives it. */
  readonly device: string;
  /** Cover and diffuser: longest time for one way [s]. */
  readonly travelSecondsMax?: number;
}

export interface ProtocolTools {
  readonly clock: Clock;
  readonly log: Log;
  readonly random: Random;
}

/** One server that was reached. */
export interface OpenServer<Entry extends DeviceEntry> {
  /** Of all its devices that are known so far, as a rig file may name them. */
  deviceNames(): readonly string[];
  /** A role that still has to be opened. @throws DeviceError when the server has no such device */
  role(role: RoleName, entry: Entry, tools: Pick<DeviceTools, "ownsConnection" | "found">): OpenableDevice;
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
  readonly protocol: string;
  readonly name: string;
  readonly version: string;
  readonly devices: readonly FoundDevice[];
}

export interface FoundDevices {
  readonly servers: readonly FoundServer[];
  /** Servers that were named or that answered, and then told nothing. */
  readonly silent: readonly (Address & { readonly protocol: string; readonly reason: string })[];
}

/**
 * A way to reach devices.
 * @typeParam Links how its servers are reached by other ways than sockets, for rehearsals and tests
 * @typeParam FindOptions which servers are asked beside those that are found by themselves
 */
export interface Protocol<Kind extends string, Entry extends DeviceEntry, Links, FindOptions> {
  /** Its key under `servers` in a rig file. */
  readonly kind: Kind;
  /** Reaches a server; what must be closed again goes on the stack. @param name in the rig file */
  open(
    name: string,
    address: Address,
    tools: ProtocolTools & Links & { readonly seal: RigSeal },
    stack: AsyncDisposableStack,
    signal: AbortSignal,
  ): Promise<OpenServer<Entry>>;
  /** Looks for servers and lists what hangs on them; connects no device. */
  find(options: ProtocolTools & FindOptions, signal: AbortSignal): Promise<FoundDevices>;
}

/** Asks every server for what it has; those that fail are told as silent. */
export async function askEach<Listing>(
  protocol: string,
  servers: readonly Address[],
  ask: (server: Address) => Promise<Listing>,
  signal: AbortSignal,
): Promise<{ readonly listings: readonly Listing[]; readonly silent: FoundDevices["silent"] }> {
  const answers = await Promise.allSettled(servers.map(ask));
  signal.throwIfAborted();
  return {
    listings: answers.flatMap((answer) => (answer.status === "fulfilled" ? [answer.value] : [])),
    silent: answers.flatMap((answer, i) => {
      if (answer.status === "fulfilled") return [];
      const { host, port } = servers[i]!;
      const { reason } = answer as { reason: unknown };
      return [{ protocol, host, port, reason: reason instanceof Error ? reason.message : String(reason) }];
    }),
  };
}

export interface OpenableDevice extends Device {
  open(signal: AbortSignal): Promise<Device>;
  /** After it was closed: it was found disconnected, and whether it is so again could not be seen to. */
  readonly isLeftConnected: boolean;
}
