import { type ChildProcess, spawn, spawnSync } from "node:child_process";
import { mkdirSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { type ByteLink, LinkClosedError, type OpenLink } from "../../drivers/kit/links.ts";

const port = 7624;

export interface StockServerOptions {
  /** Names on the PATH (`indi_simulator_ccd`) or paths of programs. */
  readonly drivers: readonly string[];
  /** Where drivers keep their settings; default: a fresh folder that goes at the end. */
  readonly home?: string;
  readonly env?: Readonly<Record<string, string>>;
  /** A client that falls this far behind is cut off; one frame must fit well. Default 512. */
  readonly backlogMiB?: number;
}

/**
 * Debian's INDI server in a network namespace of its own, as it would bind every address of the machine.
 * Nothing outside can reach it; links go in through a small relay process each. Needs root.
 */
export interface StockServer extends AsyncDisposable {
  readonly open: OpenLink;
  readonly home: string;
  /** What the server and its drivers wrote to standard error so far. */
  log(): string;
  /** Runs a program within the namespace, with the same HOME. */
  run(program: string, args: readonly string[]): { readonly status: number | null; readonly stdout: string };
  /** Every value, or the one named, as Debian's `indi_getprop` tells it: `Device.PROPERTY.ELEMENT` → text. */
  getprop(name?: string): Record<string, string>;
  /** One command by Debian's `indi_setprop`: `Device.PROPERTY.ELEMENT=value`. */
  setprop(assignment: string): void;
  /** Process ids of a driver by its program's name. */
  driverPids(program: string): number[];
}

/** @throws Error with the server's own words if it does not listen within five minutes, or ends */
export async function startStockServer(options: StockServerOptions): Promise<StockServer> {
  const ownHome = options.home === undefined;
  const home = options.home ?? mkdtempSync(join(tmpdir(), "stock-server-"));
  mkdirSync(home, { recursive: true });
  const env = { ...process.env, ...options.env, HOME: home };
  const script = `ip link set lo up && exec indiserver -p ${port} -m ${options.backlogMiB ?? 512} "$@"`;
  const server = spawn("unshare", ["-n", "sh", "-c", script, "sh", ...options.drivers], {
    env,
    stdio: ["ignore", "ignore", "pipe"],
  });
  let log = "";
  server.stderr.on("data", (bytes: Buffer) => {
    log += bytes.toString();
  });
  const inside = (program: string, args: readonly string[]) => [
    "-t",
    String(server.pid),
    "-n",
    program,
    ...args,
  ];
  const run = (program: string, args: readonly string[]) =>
    spawnSync("nsenter", inside(program, args), { encoding: "utf8", env });
  const relays = new Set<ChildProcess>();
  const dispose = async () => {
    for (const relay of relays) endRelay(relay);
    await ended(server);
    if (ownHome) rmSync(home, { recursive: true, force: true });
  };
  try {
    await untilListening(run, server);
  } catch (error) {
    await dispose();
    throw new Error(`indiserver did not start: ${log}`, { cause: error });
  }
  return {
    home,
    log: () => log,
    run,
    open: async (signal) => {
      signal.throwIfAborted();
      // The first cat ends with the server, the second with us.
      const pipe = `exec 3<>/dev/tcp/127.0.0.1/${port} && { cat <&3 & exec cat >&3; }`;
      const relay = spawn("nsenter", inside("bash", ["-c", pipe]), {
        stdio: ["pipe", "pipe", "ignore"],
        detached: true,
      });
      relays.add(relay);
      relay.once("exit", () => relays.delete(relay));
      return relayLink(relay);
    },
    getprop: (name = "*.*.*") => {
      const lines = run("indi_getprop", ["-t", "2", name]).stdout.split("\n");
      return Object.fromEntries(
        lines
          .filter((line) => line.includes("="))
          .map((line) => [line.slice(0, line.indexOf("=")), line.slice(line.indexOf("=") + 1)]),
      );
    },
    setprop: (assignment) => {
      const { status } = run("indi_setprop", [assignment]);
      if (status !== 0) throw new Error(`indi_setprop ${assignment} ended with ${status}`);
    },
    driverPids: (program) => {
      const { stdout } = spawnSync("ps", ["-o", "pid=,args=", "--ppid", String(server.pid)], {
        encoding: "utf8",
      });
      return stdout
        .split("\n")
        .filter((line) => line.includes(program))
        .map((line) => Number.parseInt(line, 10));
    },
    [Symbol.asyncDispose]: dispose,
  };
}

/** Looks every fifth of a second until there is something. @throws Error after five minutes */
export async function until<T>(what: string, look: () => T): Promise<NonNullable<T>> {
  for (let attempt = 0; attempt < 1500; attempt++) {
    const found = look();
    if (found) return found;
    await new Promise((resolve) => setTimeout(resolve, 200));
  }
  throw new Error(`${what} did not come`);
}

async function untilListening(run: StockServer["run"], server: ChildProcess): Promise<void> {
  for (let attempt = 0; attempt < 3000 && server.exitCode === null; attempt++) {
    if (run("bash", ["-c", `exec 3<>/dev/tcp/127.0.0.1/${port}`]).status === 0) return;
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
  throw new Error("it does not listen");
}

function relayLink(relay: ChildProcess): ByteLink {
  const { stdin, stdout } = relay;
  if (!stdin || !stdout) throw new Error("the relay has no pipes");
  stdin.on("error", () => {}); // told to the writer
  return {
    incoming: stdout as AsyncIterable<Uint8Array>,
    send: (bytes) =>
      new Promise((resolve, reject) => {
        if (relay.exitCode !== null || stdin.destroyed) reject(new LinkClosedError());
        else stdin.write(bytes, (error) => (error ? reject(new LinkClosedError(error.message)) : resolve()));
      }),
    close: async () => endRelay(relay),
  };
}

/** Ends both cats: they are a process group. */
function endRelay(relay: ChildProcess): void {
  if (relay.pid === undefined || relay.exitCode !== null || relay.signalCode !== null) return;
  try {
    process.kill(-relay.pid, "SIGTERM");
  } catch {
    // it has ended meanwhile
  }
}

/** Asks, and forces after two seconds; drivers follow their server. */
async function ended(server: ChildProcess): Promise<void> {
  if (server.exitCode !== null || server.signalCode !== null) return;
  const gone = new Promise((resolve) => server.once("exit", resolve));
  server.kill("SIGTERM");
  const force = setTimeout(() => server.kill("SIGKILL"), 2000);
  await gone;
  clearTimeout(force);
}
