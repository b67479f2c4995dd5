import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { Progress } from "../../agent/procedures/step.ts";
import { connectRigFile } from "../../agent/run/checks/connect-rig-file.ts";
import { Ledger } from "../../agent/run/ledger/ledger.ts";
import { runPlan } from "../../agent/run/machine/run-plan.ts";
import type { RunReport } from "../../agent/run/record/run-record.ts";
import { restoreRig } from "../../agent/run/restoring/restore-rig.ts";
import type { Log } from "../../drivers/kit/log.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import { readPlan } from "../../plans/plan-file.ts";
import { type RigFile, readRigFile } from "../../plans/rig-file.ts";
import type { MechanicsSpec } from "../../sim-devices/scene/mechanics/mechanics-spec.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { accountDifferences, type WorldAccount } from "../../sim-devices/scene/world-account.ts";
import type { SceneDeviceOptions } from "../../sim-devices/scene-devices.ts";
import { type Simulator, startSimulator } from "../../sim-devices/start-simulator.ts";
import { sceneRigText, shortPlanText, smallScene } from "./small-scene.ts";

export interface SimulatedRunOptions {
  readonly spec?: SceneSpec;
  readonly seed?: number;
  readonly mechanics?: Partial<MechanicsSpec>;
  readonly planText?: string;
  /** Another rig file; its servers are reached in memory, whatever they speak. */
  readonly rigText?: string;
  readonly alpaca?: SceneDeviceOptions;
  readonly log?: Log;
}

/** A whole run against a simulated rig over INDI bytes or Alpaca requests in memory, on a clock that jumps; the world tells the truth. */
export class SimulatedRun implements AsyncDisposable {
  readonly folder = mkdtempSync(join(tmpdir(), "evenfield-scene-"));
  readonly ledger = new Ledger(join(this.folder, "ledger.sqlite"));
  readonly stop = new AbortController();
  /** A test may wait here for its moment. */
  onProgress: (now: Progress) => void = () => {};
  readonly rigFile: RigFile;
  readonly before: WorldAccount;

  private constructor(
    readonly options: SimulatedRunOptions,
    readonly clock: VirtualClock,
    readonly simulator: Simulator,
  ) {
    this.rigFile = readRigFile(options.rigText ?? sceneRigText, "rig.yaml");
    this.before = simulator.world.account();
  }

  static async start(options: SimulatedRunOptions = {}): Promise<SimulatedRun> {
    const spec = options.spec ?? smallScene;
    const clock = new VirtualClock(Date.parse(spec.startUtc));
    const { seed, mechanics, alpaca } = options;
    const simulator = await startSimulator({
      spec,
      clock,
      ...(seed === undefined ? {} : { seed }),
      ...(mechanics ? { mechanics } : {}),
      ...(alpaca ? { alpaca } : {}),
    });
    return new SimulatedRun(options, clock, simulator);
  }

  get world() {
    return this.simulator.world;
  }

  /** What differs from the rig as it was found, by the world's own account. */
  differences(): readonly string[] {
    return accountDifferences(this.before, this.world.account(), { connections: true });
  }

  run(folder = "run"): Promise<RunReport> {
    const work = runPlan({
      plan: readPlan(this.options.planText ?? shortPlanText, "plan.yaml"),
      rigFile: this.rigFile,
      openers: () => this.simulator.openIndi,
      exchanges: this.simulator.openAlpaca,
      clock: this.clock,
      random: new Random(1),
      log: this.options.log ?? silentLog,
      folder: join(this.folder, folder),
      ledger: this.ledger,
      signal: this.stop.signal,
      unattended: true,
      progress: (now) => this.onProgress(now),
      writeOutputs: async () => [],
    });
    return this.clock.drive(work);
  }

  restore() {
    const tools = {
      openers: () => this.simulator.openIndi,
      exchanges: this.simulator.openAlpaca,
      clock: this.clock,
      random: new Random(2),
      log: silentLog,
    };
    return this.clock.drive(
      restoreRig({
        rigFile: this.rigFile,
        ledger: this.ledger,
        clock: this.clock,
        log: silentLog,
        connect: (signal) => connectRigFile(this.rigFile, tools, signal),
      }),
    );
  }

  async [Symbol.asyncDispose](): Promise<void> {
    await this.simulator.close();
    this.ledger[Symbol.dispose]();
    rmSync(this.folder, { recursive: true, force: true });
  }
}
