import { type ChildProcess, spawn } from "node:child_process";
import { appendFileSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { createInterface } from "node:readline";
import { systemClock } from "../../../drivers/kit/clock.ts";
import type { SceneSpec } from "../../../sim-devices/scene/spec/scene-spec.ts";
import { accountDifferences, type WorldAccount } from "../../../sim-devices/scene/world-account.ts";
import { rigTextFor } from "../../stage/rig-text.ts";
import { tinyScene } from "../../stage/scenes.ts";

const main = resolve(import.meta.dirname, "../../../agent/main.ts");

/** A site where it is about ten in the morning now. */
function sceneOfNow(): SceneSpec {
  const nowUtcMs = systemClock.nowMs();
  const hoursUtc = (nowUtcMs / 3_600_000) % 24;
  const longitudeDegrees = Number((((10 - hoursUtc) * 15 + 540) % 360).toFixed(3)) - 180;
  return {
    ...tinyScene,
    site: { ...tinyScene.site, latitudeDegrees: 20, longitudeDegrees },
    startUtc: new Date(nowUtcMs).toISOString(),
    // An hour from the Sun, so that a slew to it is short.
    mount: { ...tinyScene.mount, startsParked: false, startPointing: { hourAngleHours: -1, decDegrees: 0 } },
  };
}

/** Long enough at the open tube for whatever happens meanwhile. */
const planText = `plan: long
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - images: { frames: 600 }
`;

/** Words of a process, one JSON object a line. */
class Answers {
  readonly #lines: AsyncIterator<string>;
  constructor(child: ChildProcess) {
    this.#lines = createInterface({ input: child.stdout! })[Symbol.asyncIterator]();
  }
  async next<T>(): Promise<T> {
    const { value, done } = await this.#lines.next();
    if (done) throw new Error("the process has ended without a word");
    return JSON.parse(value) as T;
  }
}

/** A simulated rig in a process of its own, in real time, and the files of an agent for it. */
export class RealRig implements AsyncDisposable {
  readonly folder = mkdtempSync(join(tmpdir(), "held-rig-"));
  readonly scene = sceneOfNow();
  readonly simulator: ChildProcess;
  readonly #answers: Answers;
  readonly #children: ChildProcess[] = [];
  before!: WorldAccount;

  private constructor() {
    const time = { speed: 1, startUtcMs: Date.parse(this.scene.startUtc), epochMs: systemClock.nowMs() };
    const program = resolve(import.meta.dirname, "../../campaign/kill-simulator.ts");
    this.simulator = spawn(process.execPath, [program, JSON.stringify({ ...time, scene: this.scene })], {
      stdio: ["pipe", "pipe", "inherit"],
    });
    this.#answers = new Answers(this.simulator);
  }

  static async start(): Promise<RealRig> {
    const rig = new RealRig();
    const { port } = await rig.#answers.next<{ port: number }>();
    writeFileSync(join(rig.folder, "plan.yaml"), planText);
    writeFileSync(join(rig.folder, "rig.yaml"), rigTextFor(rig.scene).replace("7624", String(port)));
    rig.before = await rig.account();
    return rig;
  }

  /** Each device's true state. */
  account(): Promise<WorldAccount> {
    this.simulator.stdin!.write("account\n");
    return this.#answers.next<WorldAccount>();
  }

  /** What is not as it was before anything ran. */
  async differences(): Promise<readonly string[]> {
    return accountDifferences(this.before, await this.account(), { connections: true });
  }

  /** @throws when it has not come true after that many seconds, far longer than it takes */
  async until(what: string, holds: (account: WorldAccount) => boolean, seconds = 300): Promise<void> {
    for (let waited = 0; waited < seconds; waited++) {
      if (holds(await this.account())) return;
      await systemClock.sleep(1);
    }
    throw new Error(`${what}: not within ${seconds} s`);
  }

  command(name: "run" | "restore"): string[] {
    const file = (last: string) => join(this.folder, last);
    const common = ["--rig", file("rig.yaml"), "--ledger", file("ledger.sqlite")];
    const ofRun = [file("plan.yaml"), "--runs", file("runs"), "--unattended", "--log", "debug"];
    return [process.execPath, main, name, ...common, ...(name === "run" ? ofRun : [])];
  }

  /** The command at a terminal. */
  async atTerminal(name: "run" | "restore"): Promise<AtTerminal> {
    const child = spawn(
      "/usr/bin/python3",
      [join(import.meta.dirname, "pty-child.py"), ...this.command(name)],
      {
        stdio: ["pipe", "pipe", "inherit"],
      },
    );
    this.#children.push(child);
    const answers = new Answers(child);
    const { pid } = await answers.next<{ pid: number }>();
    const ended = answers.next<{ exit: number; said: string }>();
    ended.catch(() => {}); // asked for or not
    return { pid, tell: (word) => void child.stdin!.write(`${word}\n`), ended };
  }

  /** A keeper beside the telescope, which the rig file names from now on. */
  async startListeningKeeper(): Promise<void> {
    const file = join(this.folder, "rig.yaml");
    const keeper = spawn(process.execPath, [main, "keep", "--rig", file, "--listen", "0"], {
      stdio: ["ignore", "ignore", "pipe"],
    });
    this.#children.push(keeper);
    let said = "";
    for await (const bytes of keeper.stderr) {
      said += String(bytes);
      const port = /port (\d+)/.exec(said)?.[1];
      if (port === undefined) continue;
      appendFileSync(file, `keeper: { host: 127.0.0.1, port: ${port} }\n`);
      return;
    }
    throw new Error(`the keeper does not listen: ${said}`);
  }

  /** Process ids of one of its commands, wherever it was started from. */
  pidsOf(command: "run" | "restore" | "keep"): number[] {
    return readdirSync("/proc")
      .map(Number)
      .filter((pid) => {
        if (!(pid > 0)) return false;
        try {
          const args = readFileSync(`/proc/${pid}/cmdline`, "utf8").split("\0");
          return args[1] === main && args[2] === command && args.includes(join(this.folder, "rig.yaml"));
        } catch {
          return false; // it has ended meanwhile
        }
      });
  }

  async [Symbol.asyncDispose](): Promise<void> {
    for (const command of ["run", "restore", "keep"] as const)
      for (const pid of this.pidsOf(command)) process.kill(pid, "SIGKILL");
    for (const child of [...this.#children, this.simulator]) child.kill("SIGKILL");
    rmSync(this.folder, { recursive: true, force: true });
  }
}

export const isOpen = ({ cover }: WorldAccount): boolean => cover?.open === 1;

/** Covered, and the mount does not follow the sky. */
export const isMadeSafe = ({ cover, mount }: WorldAccount): boolean =>
  cover?.open === 0 && mount?.tracking === false && mount.phase === "still";

export interface AtTerminal {
  /** Of the command itself. */
  readonly pid: number;
  tell(word: "read" | "stall" | "hang-up" | "ctrl-s" | "ctrl-z" | "ctrl-backslash"): void;
  readonly ended: Promise<{ readonly exit: number; readonly said: string }>;
}
