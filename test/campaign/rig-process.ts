import { type ChildProcess, spawn } from "node:child_process";
import { join } from "node:path";
import { createInterface } from "node:readline";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import type { WorldAccount } from "../../sim-devices/scene/world-account.ts";
import type { SharedTime } from "./kill-clock.ts";
import type { FrameGiven } from "./kill-simulator.ts";

/** The simulated rig in its process: it outlives agents and device servers that are killed. */
export class RigProcess {
  readonly #child: ChildProcess;
  readonly #lines: AsyncIterator<string>;
  port = 0;

  private constructor(child: ChildProcess) {
    this.#child = child;
    this.#lines = createInterface({ input: child.stdout! })[Symbol.asyncIterator]();
  }

  static async start(time: SharedTime, scene?: SceneSpec): Promise<RigProcess> {
    const given = { ...time, ...(scene ? { scene } : {}) };
    const rig = new RigProcess(startScript("kill-simulator.ts", given, ["pipe", "pipe", "inherit"]));
    rig.port = (await rig.#next<{ port: number }>()).port;
    return rig;
  }

  account(): Promise<WorldAccount> {
    return this.#ask("account");
  }

  /** Light frames that the camera has given since it was last asked, in order. */
  frames(): Promise<readonly FrameGiven[]> {
    return this.#ask("frames");
  }

  /** The drivers end with their server: what they knew of clients and exposures is gone, the hardware stays as it is. */
  async endDrivers(): Promise<void> {
    await this.#ask("drivers end");
  }

  async #ask<T>(what: string): Promise<T> {
    this.#child.stdin!.write(`${what}\n`);
    return await this.#next<T>();
  }

  async #next<T>(): Promise<T> {
    const { value, done } = await this.#lines.next();
    if (done) throw new Error("the simulated rig's process has ended");
    return JSON.parse(value) as T;
  }

  stop(): void {
    this.#child.kill("SIGKILL");
  }
}

/** A script of this folder in a process of its own. */
export function startScript(
  script: string,
  given: unknown,
  stdio: ("pipe" | "ignore" | "inherit")[],
): ChildProcess {
  return spawn(process.execPath, [join(import.meta.dirname, script), JSON.stringify(given)], { stdio });
}
