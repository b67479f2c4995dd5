import type { Log } from "../../drivers/kit/log.ts";

/** Whoever started the service as a daemon and watches it: systemd's notify protocol, as sd_notify(3) describes it. */
export interface ServiceManager {
  /** How often it wants to hear that the main thread lives [s]; absent when it does not watch. */
  readonly watchdogSeconds?: number;
  tell(lines: Readonly<Record<string, string>>): void;
}

/** Linux's numbers. */
const afUnix = 1;
const datagramCloseOnExec = 2 | 0o2000000;
const noSignal = 0x4000;
const pathMost = 107;

/**
 * The manager that the environment names; `undefined` when none does, or it can't be reached. Bun has no datagram sockets of the
 * file system's, so the messages go through the C library.
 * @param environment its NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID
 */
export async function findServiceManager(
  environment: Readonly<Record<string, string | undefined>>,
  pid: number,
  log: Log,
): Promise<ServiceManager | undefined> {
  const { NOTIFY_SOCKET: path, WATCHDOG_USEC, WATCHDOG_PID } = environment;
  if (!path || !/^[/@]/.test(path) || Buffer.byteLength(path) > pathMost) return undefined;
  try {
    const send = await openDatagrams(path);
    const isForUs = WATCHDOG_PID === undefined || Number(WATCHDOG_PID) === pid;
    const watchdogSeconds = isForUs ? Number(WATCHDOG_USEC) / 1e6 : Number.NaN;
    return {
      tell: (lines) => {
        // A line break in a value would begin a message of its own.
        const text = Object.entries(lines).map(([name, value]) => `${name}=${value.replace(/\s+/g, " ")}`);
        if (!send(text.join("\n"))) log.warn({}, "the service manager did not take a message");
      },
      ...(watchdogSeconds > 0 ? { watchdogSeconds } : {}),
    };
  } catch (error) {
    log.warn({ error: String(error) }, "the service manager can't be told how the service is");
    return undefined;
  }
}

/** @param path of a socket that takes datagrams; `@` first: a name that is in no folder. @throws where there is no such library */
async function openDatagrams(path: string): Promise<(text: string) => boolean> {
  const { dlopen, FFIType, ptr } = await import("bun:ffi");
  const { i32, u32, u64, i64, ptr: pointer } = FFIType;
  const { symbols } = dlopen("libc.so.6", {
    socket: { args: [i32, i32, i32], returns: i32 },
    sendto: { args: [i32, pointer, u64, i32, pointer, u32], returns: i64 },
  });
  const name = Buffer.from(path.startsWith("@") ? `\0${path.slice(1)}` : `${path}\0`);
  const address = Buffer.concat([Buffer.from(Uint16Array.of(afUnix).buffer), name]);
  const descriptor = symbols.socket(afUnix, datagramCloseOnExec, 0);
  if (descriptor < 0) throw new Error("no socket could be had");
  return (text) => {
    const bytes = Buffer.from(text);
    const sent = symbols.sendto(
      descriptor,
      ptr(bytes),
      BigInt(bytes.length),
      noSignal,
      ptr(address),
      address.length,
    );
    return Number(sent) === bytes.length;
  };
}
