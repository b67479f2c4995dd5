import { type ChildProcess, spawn, spawnSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { ByteLink, OpenLink } from "../../drivers/kit/links.ts";

const port = 7624;

/** Debian's INDI server with its simulators, in a network namespace of its own: it would bind every address. */
export interface Simulators extends AsyncDisposable {
  readonly open: OpenLink;
  /** Every value as Debian's `indi_getprop` lists it: `Device.PROPERTY.ELEMENT` → text. */
  getprop(): Record<string, string>;
  /** Sends one command with Debian's `indi_setprop`. */
  setprop(assignment: string): void;
}

export async function startSimulators(drivers: readonly string[]): Promise<Simulators> {
  const home = mkdtempSync(join(tmpdir(), "simulators-"));
  const server = spawn(
    "unshare",
    ["-n", "sh", "-c", `ip link set lo up && exec indiserver -p ${port} -m 256 ${drivers.join(" ")}`],
    { env: { ...process.env, HOME: home }, stdio: ["ignore", "ignore", "ignore"] },
  );
  const inside = (command: readonly string[]): [string, string[]] => [
    "nsenter",
    ["-t", String(server.pid), "-n", ...command],
  ];
  const run = (command: readonly string[]): string => {
    const [program, args] = inside(command);
    const { stdout, status, stderr } = spawnSync(program, args, {
      encoding: "utf8",
      env: { ...process.env, HOME: home },
    });
    // indi_getprop ends with 1 when its time is over, which is how it ends after "everything".
    if (status !== 0 && status !== 1) throw new Error(`${command[0]} ended with ${status}: ${stderr}`);
    return stdout;
  };
  const links = new Set<ChildProcess>();
  const simulators: Simulators = {
    open: async () => {
      const [program, args] = inside([
        "bash",
        "-c",
        `exec 3<>/dev/tcp/127.0.0.1/${port} && { cat <&3 & exec cat >&3; }`,
      ]);
      const relay = spawn(program, args, { stdio: ["pipe", "pipe", "ignore"], detached: true });
      links.add(relay);
      return relayLink(relay);
    },
    getprop: () => {
      const lines = run(["indi_getprop", "-t", "2", "*.*.*"]).split("\n");
      return Object.fromEntries(
        lines
          .filter((line) => line.includes("="))
          .map((line) => [line.slice(0, line.indexOf("=")), line.slice(line.indexOf("=") + 1)]),
      );
    },
    setprop: (assignment) => {
      run(["indi_setprop", assignment]);
    },
    async [Symbol.asyncDispose]() {
      for (const relay of links) endGroup(relay);
      const gone = new Promise((resolve) => server.once("exit", resolve));
      if (server.exitCode === null && server.kill("SIGTERM")) await gone;
      rmSync(home, { recursive: true, force: true });
    },
  };
  await untilListening(run);
  return simulators;
}

async function untilListening(run: (command: readonly string[]) => string): Promise<void> {
  for (let attempt = 0; attempt < 50; attempt++) {
    try {
      if (run(["bash", "-c", `exec 3<>/dev/tcp/127.0.0.1/${port} && echo up`]).includes("up")) return;
    } catch {
      // not yet
    }
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
  throw new Error("indiserver did not start");
}

function relayLink(relay: ChildProcess): ByteLink {
  return {
    incoming: relay.stdout as AsyncIterable<Uint8Array>,
    send: (bytes) =>
      new Promise((resolve, reject) => {
        relay.stdin!.write(bytes, (error) => (error ? reject(error) : resolve()));
      }),
    close: async () => endGroup(relay),
  };
}

/** The relay and its second `cat`. */
function endGroup(relay: ChildProcess): void {
  if (relay.pid === undefined || relay.exitCode !== null || relay.signalCode !== null) return;
  try {
    process.kill(-relay.pid, "SIGTERM");
  } catch {
    // already gone
  }
}
