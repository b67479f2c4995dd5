import type { ChildProcess } from "node:child_process";
import { once } from "node:events";
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { brokenFiles } from "../../agent/rehearsal/checkers/files-whole.ts";
import { digestOfImage } from "../../agent/rehearsal/frame-account.ts";
import { Random } from "../../drivers/kit/random.ts";
import { accountDifferences } from "../../sim-devices/scene/world-account.ts";
import { rigTextFor } from "../stage/rig-text.ts";
import { tinyScene } from "../stage/scenes.ts";
import type { AgentOrder } from "./kill-agent.ts";
import type { SharedTime } from "./kill-clock.ts";
import type { FrameGiven } from "./kill-simulator.ts";
import { RigProcess, startScript } from "./rig-process.ts";

export type Victim = "agent" | "device server";

export interface ServiceKill {
  readonly victim: Victim;
  /** After the service was started [s of the rig's time]. */
  readonly afterSeconds: number;
  /** What is wrong afterwards; empty when the service restored, resumed and lost nothing. */
  readonly wrong: readonly string[];
  /** Images on the disk, and frames that had to be there because another was taken after them. */
  readonly images: number;
  readonly finished: number;
}

/** Fast, and slow enough that a busy machine still meets the deadlines of the devices. */
const speed = 15;
/** From a start to its end a run takes about three minutes; a kill may come a little after it, too [s]. */
const killWithinSeconds = 210;

const plan = `plan: many-images
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - images: { frames: 20, everySeconds: 4 }
`;

/** Something is due every few minutes, so that each process has a run to be killed in and one to resume with. */
const schedule = `schedule: kills
entries:
${["00:00", "00:05", "00:10"]
  .map(
    (from, n) =>
      `  - { entry: e${n}, plan: plan.yaml, lateMinutesMax: 4, again: { timesMost: 3, afterMinutes: 1 }, when: { everyHours: 0.25, fromLocalTime: "${from}", untilLocalTime: "23:59" } }\n`,
  )
  .join("")}`;

/** Real processes: the service, a device server and a rig behind it; the first two are killed by SIGKILL at seeded moments. */
export async function run({
  seed,
  count,
  victim,
  print,
}: {
  seed: number;
  count: number;
  victim: Victim;
  print: (line: string) => void;
}): Promise<readonly ServiceKill[]> {
  const random = new Random(seed).fork(victim);
  const time: SharedTime = { speed, startUtcMs: Date.parse(tinyScene.startUtc), epochMs: Date.now() };
  const folder = mkdtempSync(join(tmpdir(), "evenfield-service-kills-"));
  const rig = await RigProcess.start(time, tinyScene);
  const server = await RelayProcess.start(rig.port);
  try {
    writeFileSync(join(folder, "plan.yaml"), plan);
    writeFileSync(join(folder, "schedule.yaml"), schedule);
    writeFileSync(
      join(folder, "rig.yaml"),
      rigTextFor(tinyScene, { silenceSecondsMax: 120 }).replace("7624", String(server.port)),
    );
    const kills = new Kills(folder, time, rig, server);
    await kills.start();
    const results: ServiceKill[] = [];
    for (let n = 0; n < count; n++) {
      const afterSeconds = random.between(0, killWithinSeconds);
      const downSeconds = random.between(1, 60);
      const wrong = await kills.play(victim, afterSeconds, downSeconds);
      const { images, finished } = kills.takeCounts();
      results.push({ victim, afterSeconds, wrong, images, finished });
      print(
        `${String(n + 1).padStart(3)}  ${victim} killed after ${afterSeconds.toFixed(1).padStart(5)} s: ${wrong.join("; ") || "restored and resumed"}; ${images} images, ${finished} finished frames looked for`,
      );
    }
    return results;
  } finally {
    rig.stop();
    server.stop();
    rmSync(folder, { recursive: true, force: true });
  }
}

class Kills {
  readonly #judged = new Set<string>();
  readonly #frames: FrameGiven[] = [];
  #counts = { images: 0, finished: 0 };
  #before!: Awaited<ReturnType<RigProcess["account"]>>;

  constructor(
    readonly folder: string,
    readonly time: SharedTime,
    readonly rig: RigProcess,
    readonly server: RelayProcess,
  ) {}

  async start(): Promise<void> {
    this.#before = await this.rig.account();
  }

  takeCounts() {
    const counts = this.#counts;
    this.#counts = { images: 0, finished: 0 };
    return counts;
  }

  async play(victim: Victim, afterSeconds: number, downSeconds: number): Promise<readonly string[]> {
    const first = new ServiceProcess(this.folder, this.time);
    await this.#sleep(afterSeconds);
    let resumed = first;
    if (victim === "agent") {
      await first.kill();
      resumed = new ServiceProcess(this.folder, this.time);
    } else {
      await this.server.kill();
      await this.rig.endDrivers();
      await this.#sleep(downSeconds);
      await this.server.restart();
    }
    const wrong: string[] = [];
    const ended = await resumed.untilRunEnds("exit code 0");
    if (ended !== undefined) wrong.push(ended);
    const exitCode = await resumed.end();
    if (exitCode !== 0) wrong.push(`the service ended with exit code ${exitCode}`);
    const left = accountDifferences(this.#before, await this.rig.account(), { connections: true });
    this.#frames.push(...(await this.rig.frames()));
    return [...wrong, ...left, ...this.#judgeRuns()];
  }

  #judgeRuns(): string[] {
    const runs = join(this.folder, "runs");
    const own = existsSync(runs) ? readdirSync(runs).filter((name) => !this.#judged.has(name)) : [];
    const wrong = own.flatMap((name) => {
      this.#judged.add(name);
      const judged = judgeRun(join(runs, name), this.#frames);
      this.#counts.images += judged.images;
      this.#counts.finished += judged.finished;
      return judged.wrong.map((what) => `${name}: ${what}`);
    });
    this.#frames.length = 0;
    return wrong;
  }

  #sleep(seconds: number): Promise<void> {
    return Bun.sleep((seconds / this.time.speed) * 1000);
  }
}

/** Every image is whole and as the camera gave it; every frame of the series after which another was taken is on the disk. */
function judgeRun(folder: string, frames: readonly FrameGiven[]) {
  const images = readdirSync(folder, { recursive: true, encoding: "utf8" }).filter((name) =>
    /image-\d+\.fits$/.test(name),
  );
  const broken = brokenFiles(folder, images);
  if (broken.length > 0) return { wrong: broken, images: images.length, finished: 0 };
  const kept = new Set(images.map((name) => digestOfImage(join(folder, name))));
  const given = new Set(frames.map(({ digest }) => digest));
  const strange = [...kept].filter((digest) => !given.has(digest)).length;
  const series = seriesOf(folder, frames);
  const finished = series.slice(0, -1);
  const lost = finished.filter(({ digest }) => !kept.has(digest)).length;
  const wrong = [
    ...(strange > 0 ? [`${strange} images are no frames of the camera`] : []),
    ...(lost > 0 ? [`${lost} of ${finished.length} finished frames are not on the disk`] : []),
  ];
  return { wrong, images: images.length, finished: finished.length };
}

/** What the camera gave from when the exposure of the images was tuned to the end of the run, or of its records. */
function seriesOf(folder: string, frames: readonly FrameGiven[]): readonly FrameGiven[] {
  const events = readFileSync(join(folder, "events.ndjson"), "utf8")
    .split("\n")
    .filter((line) => line.endsWith("}"))
    .map((line) => JSON.parse(line) as { utc: string; event: string; exposureSeconds?: number });
  const tuned = events.findLast(({ event }) => event === "exposure tuned");
  if (!tuned) return [];
  const fromMs = Date.parse(tuned.utc);
  const after = events.find(({ event, utc }) => event === "images taken" && Date.parse(utc) >= fromMs);
  const toMs = after ? Date.parse(after.utc) : fromMs + 100_000;
  return frames.filter(
    ({ utcMs, exposureSeconds }) =>
      utcMs > fromMs && utcMs <= toMs && Math.abs(exposureSeconds / tuned.exposureSeconds! - 1) < 1e-3,
  );
}

class ServiceProcess {
  readonly #child: ChildProcess;
  readonly #lines: string[] = [];
  readonly #exit: Promise<number | null>;
  #onLine: (line: string) => void = () => {};

  constructor(folder: string, time: SharedTime) {
    const order: AgentOrder = {
      command: "serve",
      time,
      plan: join(folder, "schedule.yaml"),
      rig: join(folder, "rig.yaml"),
      ledger: join(folder, "ledger.sqlite"),
      runs: join(folder, "runs"),
    };
    this.#child = startScript("kill-agent.ts", order, ["ignore", "ignore", "pipe"]);
    createInterface({ input: this.#child.stderr! }).on("line", (line) => {
      this.#lines.push(line);
      this.#onLine(line);
    });
    this.#exit = once(this.#child, "exit").then(([code]) => code as number | null);
  }

  /** @returns what it said last if it ends or is held before such a line */
  async untilRunEnds(text: string): Promise<string | undefined> {
    const found = Promise.withResolvers<string | undefined>();
    this.#onLine = (line) => {
      if (line.includes(text)) found.resolve(undefined);
      if (line.includes("  held: ")) found.resolve(line);
    };
    void this.#exit.then(() => found.resolve(`it ended: ${this.#lines.slice(-3).join(" / ")}`));
    return await found.promise;
  }

  async kill(): Promise<void> {
    this.#child.kill("SIGKILL");
    await this.#exit;
  }

  async end(): Promise<number | null> {
    this.#child.kill("SIGTERM");
    return await this.#exit;
  }
}

class RelayProcess {
  #child!: ChildProcess;
  port = 0;

  private constructor(readonly rigPort: number) {}

  static async start(rigPort: number): Promise<RelayProcess> {
    const relay = new RelayProcess(rigPort);
    await relay.restart();
    return relay;
  }

  async restart(): Promise<void> {
    const order = { port: this.port, to: this.rigPort };
    this.#child = startScript("kill-relay.ts", order, ["ignore", "pipe", "inherit"]);
    const lines = createInterface({ input: this.#child.stdout! });
    const [line] = (await once(lines, "line")) as [string];
    this.port = (JSON.parse(line) as { port: number }).port;
  }

  async kill(): Promise<void> {
    this.stop();
    await once(this.#child, "exit");
  }

  stop(): void {
    this.#child.kill("SIGKILL");
  }
}
