import { lookup } from "node:dns/promises";
import { resolve } from "node:path";
import type { Clock } from "../../../drivers/kit/clock.ts";
import { withDeadline } from "../../../drivers/kit/deadline.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import { isInMemory } from "../ledger/ledger-tables.ts";
import { lockFolderDefault, takeHostLock } from "./host-lock.ts";
import { type LookUpHost, machineNames } from "./server-addresses.ts";

/** Another process works with the rig, or with a device of it, now. */
export class RigBusyError extends Error {
  readonly code = "RIG_BUSY";
  readonly whatToDo = "Wait for the other one to end, or stop it with Ctrl-C; then try again.";
  constructor(what: string) {
    super(`another evenfield process is using ${what}`);
    this.name = "RigBusyError";
  }
}

export interface RigLockTools {
  readonly clock: Clock;
  /** Default: the one place of this computer. */
  readonly lockFolder?: string | undefined;
  readonly lookUpHost?: LookUpHost | undefined;
}

/** A name that the network does not know by then is locked as it is written [s]. */
const lookUpSecondsMax = 3;

/**
 * Holds a rig for one process: its name in that ledger, so that an unfinished run whose rig can be had is a crashed one,
 * and every device that is driven, under whatever name, ledger or user. A weather station is only read, and shared.
 * @throws RigBusyError, LockFolderError
 */
export async function lockRig(
  ledgerFile: string,
  rigFile: Pick<RigFile, "rig" | "servers" | "devices">,
  { clock, lockFolder = lockFolderDefault, lookUpHost = lookUpInSystem }: RigLockTools,
): Promise<Disposable> {
  const held = new DisposableStack();
  if (isInMemory(ledgerFile)) return held;
  const limits = { device: "network", what: "looking up a server's name", withinSeconds: lookUpSecondsMax };
  const lookUp: LookUpHost = (host) =>
    withDeadline(clock, { ...limits, signal: neverAborted }, () => lookUpHost(host));
  try {
    const take = (key: string, what: string) => {
      const lock = takeHostLock(lockFolder, key);
      if (!lock) throw new RigBusyError(what);
      held.use(lock);
    };
    take(JSON.stringify(["rig", resolve(ledgerFile), rigFile.rig]), `the rig ${rigFile.rig}`);
    for (const [key, what] of await drivenDevices(rigFile, lookUp)) take(key, what);
    return held;
  } catch (error) {
    held.dispose();
    throw error;
  }
}

/** By their keys, each once, how a person knows them. */
async function drivenDevices(
  { servers, devices }: Pick<RigFile, "servers" | "devices">,
  lookUp: LookUpHost,
): Promise<ReadonlyMap<string, string>> {
  const driven = new Map<string, string>();
  const machines = new Map<string, Promise<readonly string[]>>();
  const machinesOf = (host: string) => {
    const names = machines.get(host) ?? machineNames(host, lookUp);
    machines.set(host, names);
    return names;
  };
  for (const [role, entry] of Object.entries(devices)) {
    if (role === "weather" || entry === undefined || !("server" in entry)) continue;
    const [server] = Object.entries(servers[entry.server] ?? {});
    if (!server) continue;
    const [protocol, { host, port }] = server;
    const part = "switch" in entry && entry.switch !== undefined ? `/${entry.switch}` : "";
    for (const machine of await machinesOf(host)) {
      const key = JSON.stringify([protocol, machine, port, `${entry.device}${part}`.toLowerCase()]);
      driven.set(key, `the ${role} ${entry.device} on ${host} port ${port}`);
    }
  }
  return driven;
}

async function lookUpInSystem(host: string): Promise<readonly string[]> {
  return (await lookup(host, { all: true })).map(({ address }) => address);
}
