import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { Random } from "../../drivers/kit/random.ts";
import { accountDifferences } from "../../sim-devices/scene/world-account.ts";
import { rigTextFor } from "../stage/rig-text.ts";
import { shortPlanText, smallScene } from "../stage/scenes.ts";
import type { AgentOrder } from "./kill-agent.ts";
import type { SharedTime } from "./kill-clock.ts";
import { RigProcess, startScript } from "./rig-process.ts";

export interface KillTrial {
  readonly trial: number;
  /** When the run was killed, and the restoring after it, if that was killed too [s of the rig's time]. */
  readonly killedAfterSeconds: number;
  readonly restoreKilledAfterSeconds?: number;
  readonly exitCode: number | null;
  /** By the simulated world's own account, against the rig as it was before the first run. */
  readonly differences: readonly string[];
}

export interface KillResult {
  readonly seed: number;
  /** How long an undisturbed run takes [s of the rig's time]. */
  readonly wholeRunSeconds: number;
  readonly trials: readonly KillTrial[];
  readonly restored: number;
}

const seedDefault = 20260621;
/** Fast, and slow enough that a busy machine still meets the deadlines of the devices. */
const speed = 15;
/** A restoring takes about half a minute. */
const restoreSeconds = 30;

/**
 * Kills the agent's process with SIGKILL at `n` seeded moments of a run against a simulated rig in another process,
 * then lets a new process restore. Every third restoring is killed too and done again.
 */
export async function run(
  n: number,
  options: { readonly seed?: number; readonly tell?: (line: string) => void } = {},
): Promise<KillResult> {
  const { seed = seedDefault, tell = () => {} } = options;
  const random = new Random(seed);
  const time: SharedTime = { speed, startUtcMs: Date.parse(smallScene.startUtc), epochMs: Date.now() };
  const folder = mkdtempSync(join(tmpdir(), "evenfield-kill-"));
  const rig = await RigProcess.start(time);
  const plan = join(folder, "plan.yaml");
  const rigFile = join(folder, "rig.yaml");
  writeFileSync(plan, shortPlanText);
  writeFileSync(rigFile, rigTextFor(smallScene).replace("7624", String(rig.port)));
  const order = {
    time,
    plan,
    rig: rigFile,
    ledger: join(folder, "ledger.sqlite"),
    runs: join(folder, "runs"),
  };
  try {
    const before = await rig.account();
    const differences = async () => accountDifferences(before, await rig.account(), { connections: true });
    const startedMs = Date.now();
    const whole = await agent({ command: "run", ...order });
    const wholeRunSeconds = ((Date.now() - startedMs) / 1000) * speed;
    const left = await differences();
    if (left.length > 0) throw new Error(`undisturbed run (exit code ${whole}) left: ${left.join("; ")}`);
    tell(`an undisturbed run takes ${wholeRunSeconds.toFixed(0)} s of the rig's time, exit code ${whole}`);
    const trials: KillTrial[] = [];
    for (let trial = 0; trial < n; trial++) {
      const killedAfterSeconds = random.between(0, wholeRunSeconds);
      await agent({ command: "run", ...order }, killedAfterSeconds);
      const again = trial % 3 === 2 ? random.between(0, restoreSeconds) : undefined;
      if (again !== undefined) await agent({ command: "restore", ...order }, again);
      const exitCode = await agent({ command: "restore", ...order });
      const one: KillTrial = {
        trial,
        killedAfterSeconds,
        ...(again === undefined ? {} : { restoreKilledAfterSeconds: again }),
        exitCode,
        differences: await differences(),
      };
      trials.push(one);
      tell(lineOf(one));
    }
    const restored = trials.filter((one) => one.exitCode === 0 && one.differences.length === 0).length;
    return { seed, wholeRunSeconds, trials, restored };
  } finally {
    rig.stop();
    rmSync(folder, { recursive: true, force: true });
  }
}

function lineOf({
  trial,
  killedAfterSeconds,
  restoreKilledAfterSeconds,
  exitCode,
  differences,
}: KillTrial): string {
  const again =
    restoreKilledAfterSeconds === undefined
      ? ""
      : `, restoring killed after ${restoreKilledAfterSeconds.toFixed(1)} s`;
  const how = differences.length === 0 ? "as it was" : differences.join("; ");
  return `${String(trial + 1).padStart(3)}  killed after ${killedAfterSeconds.toFixed(1).padStart(6)} s${again}: exit code ${exitCode}, ${how}`;
}

/** Runs the agent's process to its end, or kills it. @returns its exit code, `null` when it was killed */
function agent(order: AgentOrder, killAfterSeconds?: number): Promise<number | null> {
  const process = startScript("kill-agent.ts", order, ["ignore", "ignore", "ignore"]);
  const timer =
    killAfterSeconds === undefined
      ? undefined
      : setTimeout(() => process.kill("SIGKILL"), (killAfterSeconds / order.time.speed) * 1000);
  return new Promise((resolve, reject) => {
    process.once("error", reject);
    process.once("exit", (code) => {
      clearTimeout(timer);
      resolve(code);
    });
  });
}

if (import.meta.main) {
  const n = Number(process.argv[2] ?? 50);
  const seed = Number(process.argv[3] ?? seedDefault);
  const result = await run(n, { seed, tell: (line) => console.log(line) });
  console.log(`restored ${result.restored} of ${n} (seed ${seed})`);
  process.exitCode = result.restored === n ? 0 : 1;
}
