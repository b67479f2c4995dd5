import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { connectRigFile } from "../../agent/run/connect-rig-file.ts";
import { Ledger } from "../../agent/run/ledger.ts";
import { restoreRig } from "../../agent/run/restore-rig.ts";
import { runPlan } from "../../agent/run/run-plan.ts";
import type { RunReport } from "../../agent/run/run-record.ts";
import type { Log } from "../../drivers/kit/log.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import { readPlan } from "../../plans/plan-file.ts";
import { readRigFile } from "../../plans/rig-file.ts";
import { demoScene } from "../../sim-devices/scene/demo-scene.ts";
import type { MechanicsSpec } from "../../sim-devices/scene/mechanics/mechanics-spec.ts";
import type { SceneSpec } from "../../sim-devices/scene/scene-spec.ts";
import { accountDifferences, type WorldAccount } from "../../sim-devices/scene/world-account.ts";
import { type Simulator, startSimulator } from "../../sim-devices/start-simulator.ts";

/** The demo scene with a quarter of its pixels each way and dust to scale: the same job in a sixteenth of the time. */
export const smallScene: SceneSpec = {
  ...demoScene,
  camera: { ...demoScene.camera, widthPx: 320, heightPx: 240, pixelMicron: 19.2 },
  rig: {
    ...demoScene.rig,
    vignetting: { atCorner: 0.24, offsetXPx: 11, offsetYPx: -7 },
    hotSpot: { xPx: 190, yPx: 107, sigmaPx: 28, peak: 0.04 },
    dust: demoScene.rig.dust.slice(0, 4).map((dust) => ({ ...dust, xPx: dust.xPx / 4, yPx: dust.yPx / 4 })),
  },
  startsWith: { ...demoScene.startsWith, region: { xPx: 0, yPx: 0, widthPx: 320, heightPx: 240 } },
};

export const shortPlanText = `plan: short
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - leak-check: { frames: 4 }
  - flat: { blur: diffuser, frames: 12 }
  - images: { frames: 2 }
`;

const rigText = `rig: scene
site: { latitudeDegrees: 46.5, longitudeDegrees: 9.8, elevationMetres: 1720 }
optics: { apertureMm: 60, focalLengthMm: 378, wavelengthNm: 656.28 }
sunFilter: { describe: simulated, madeForThisInstrument: true, lastConfirmed: 2026-06-01, confirmAgainAfterDays: 90 }
limits: { freeDiskMegabytesMin: 50 }
servers: { scene: { indi: { host: 127.0.0.1, port: 7624 } } }
devices:
  camera: { server: scene, device: Scene Camera }
  mount: { server: scene, device: Scene Mount }
  cover: { server: scene, device: Scene Cover }
  diffuser: { server: scene, device: Scene Diffuser }
  focuser: { server: scene, device: Scene Focuser }
  wheel: { server: scene, device: Scene Wheel }
  rotator: { server: scene, device: Scene Rotator }
  dome: { server: scene, device: Scene Dome }
  weather: { server: scene, device: Scene Weather }
`;

export interface SimulatedRunOptions {
  readonly spec?: SceneSpec;
  readonly seed?: number;
  readonly mechanics?: Partial<MechanicsSpec>;
  readonly planText?: string;
  readonly log?: Log;
}

/** A whole run against a simulated rig over INDI bytes in memory, on a clock that jumps; the world tells the truth. */
export class SimulatedRun implements AsyncDisposable {
  readonly folder = mkdtempSync(join(tmpdir(), "evenfield-scene-"));
  readonly ledger = new Ledger(join(this.folder, "ledger.sqlite"));
  readonly stop = new AbortController();
  readonly rigFile = readRigFile(rigText, "rig.yaml");
  readonly before: WorldAccount;

  private constructor(
    readonly options: SimulatedRunOptions,
    readonly clock: VirtualClock,
    readonly simulator: Simulator,
  ) {
    this.before = simulator.world.account();
  }

  static async start(options: SimulatedRunOptions = {}): Promise<SimulatedRun> {
    const spec = options.spec ?? smallScene;
    const clock = new VirtualClock(Date.parse(spec.startUtc));
    const { seed, mechanics } = options;
    const simulator = await startSimulator({
      spec,
      clock,
      ...(seed === undefined ? {} : { seed }),
      ...(mechanics ? { mechanics } : {}),
    });
    return new SimulatedRun(options, clock, simulator);
  }

  get world() {
    return this.simulator.world;
  }

  /** What differs from the rig as it was found, by the world's own account. */
  differences(): readonly string[] {
    return accountDifferences(this.before, this.world.account());
  }

  run(folder = "run"): Promise<RunReport> {
    const work = runPlan({
      plan: readPlan(this.options.planText ?? shortPlanText, "plan.yaml"),
      rigFile: this.rigFile,
      openers: () => this.simulator.openIndi,
      clock: this.clock,
      random: new Random(1),
      log: this.options.log ?? silentLog,
      folder: join(this.folder, folder),
      ledger: this.ledger,
      signal: this.stop.signal,
      unattended: true,
      progress: () => {},
      writeOutputs: async () => [],
    });
    return this.clock.drive(work);
  }

  restore() {
    const tools = {
      openers: () => this.simulator.openIndi,
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
