/**
 * A stage for whole runs: the agent as it is, over INDI bytes or Alpaca requests in memory, against the simulated world
 * on a clock that jumps; README.md beside this file shows how.
 */
import { mkdtempSync, readdirSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, relative } from "node:path";
import type { Progress } from "../../agent/procedures/step.ts";
import { AgentKilledError } from "../../agent/rehearsal/agent-life.ts";
import { checkWorld } from "../../agent/rehearsal/checkers/check-world.ts";
import type { Finding } from "../../agent/rehearsal/checkers/checker.ts";
import type { ScriptedFault } from "../../agent/rehearsal/faults/fault.ts";
import { type PersonKind, personOf } from "../../agent/rehearsal/persons.ts";
import { RehearsalStage } from "../../agent/rehearsal/rehearsal-stage.ts";
import { accountTube, type TubeAccount } from "../../agent/rehearsal/tube-account.ts";
import { type ConnectRig, connectRigFile } from "../../agent/run/checks/connect-rig-file.ts";
import { freeDiskMegabytes } from "../../agent/run/checks/free-disk.ts";
import type { AskPerson } from "../../agent/run/checks/hand-cover.ts";
import { Ledger } from "../../agent/run/ledger/ledger.ts";
import { restoreRig } from "../../agent/run/machine/restore-rig.ts";
import { runPlan } from "../../agent/run/machine/run-plan.ts";
import type { RunEnded, RunRecord, RunReport } from "../../agent/run/record/run-record.ts";
import type { RecoveredRun } from "../../agent/run/restoring/recover.ts";
import type { Log } from "../../drivers/kit/log.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import { readPlan } from "../../plans/plan-file.ts";
import { readRigFile } from "../../plans/rig-file.ts";
import type { MechanicsSpec } from "../../sim-devices/scene/mechanics/mechanics-spec.ts";
import type { Moment } from "../../sim-devices/scene/moment.ts";
import type { ExposureAsk, LightPath } from "../../sim-devices/scene/painter-contract.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import type { World } from "../../sim-devices/scene/world.ts";
import type { WorldAccount } from "../../sim-devices/scene/world-account.ts";
import type { SceneDeviceOptions } from "../../sim-devices/scene-devices.ts";
import { type Simulator, startSimulator } from "../../sim-devices/start-simulator.ts";
import { type ProtocolChoice, type RigChoice, rigTextFor } from "./rig-text.ts";
import { shortPlanText, smallScene } from "./scenes.ts";

export interface StageOptions {
  /** Default `smallScene`; `tinyScene` and `sceneOfWidth` play faster. */
  readonly scene?: SceneSpec;
  /** Draws the scene and the agent's own chance anew; left out, the scene's own. */
  readonly seed?: number;
  /** ISO 8601; left out, the scene's own. */
  readonly startUtc?: string;
  readonly mechanics?: Partial<MechanicsSpec>;
  /** A rig file's text or its path, or what to leave out of the whole simulated rig and what is moved by hand. */
  readonly rig?: string | RigChoice;
  /** What the devices of a rig that is not given as text speak. Default INDI. */
  readonly protocol?: ProtocolChoice;
  /** How Alpaca devices behave where their standard leaves a choice. */
  readonly alpaca?: SceneDeviceOptions;
  /** Where runs and the ledger are written and stay; left out, the ledger is in memory and the rest is gone with the stage. */
  readonly folder?: string;
  readonly log?: Log;
  /** Of every run that has none of its own. */
  readonly plan?: string;
  /** Somebody at the terminal. Default: nobody, or one who obliges if a device is moved by hand. */
  readonly person?: AskPerson | PersonKind;
}

export interface PlayOptions {
  /** A plan's text, or the path of its file. Default: the stage's, or centre, leak check, flat, two images. */
  readonly plan?: string;
  /** By seconds from this run's beginning on the world's clock, which goes on in the run after it. */
  readonly faults?: readonly ScriptedFault[];
  /** Of the run's folder below the stage's. Default `run`, then `run-2`, … */
  readonly name?: string;
  /** Called as the agent tells its progress. */
  readonly onProgress?: (now: Progress) => void;
  /** Called with what the agent says at once to whoever watches. */
  readonly onWarning?: (text: string) => void;
  /** Called at everything that happens to the rig, while it happens. */
  readonly onChange?: (moment: Moment, world: World) => void;
  /** Called after every event of the clock. */
  readonly onEvent?: (world: World) => void;
}

/** What the sensor truly saw. */
export interface FrameTruth {
  readonly takenUtcMs: number;
  readonly light: LightPath;
  readonly ask: ExposureAsk;
}

/** How a run went, by the agent's word (`ended` to `record`) and by the world's (the rest). */
export interface RunPlayed {
  readonly ended: RunEnded | "killed";
  /** `undefined` for an agent that was killed, as is the record. */
  readonly exitCode: number | undefined;
  readonly record: RunRecord | undefined;
  /** Each device's true state at the end. */
  readonly account: WorldAccount;
  /** What is not as it was when the stage was opened, connections included; empty for a rig as found. */
  readonly differences: readonly string[];
  /** What must never happen to a rig and did. */
  readonly violations: readonly Finding[];
  /** For how long what was open to the Sun, in this run. */
  readonly tube: TubeAccount;
  /** Every frame read out in this run. */
  readonly frames: readonly FrameTruth[];
  readonly folder: string;
  /** Below the folder. */
  readonly files: readonly string[];
  /** [s] of the world's clock */
  readonly seconds: number;
  /** How to play it again: seed, scene, protocol, faults. For messages. */
  readonly origin: string;
}

/** A clock that tells of each of its events. */
class StageClock extends VirtualClock {
  onEvent: () => void = () => {};
  override setTimer(afterSeconds: number, callback: () => void) {
    return super.setTimer(afterSeconds, () => {
      callback();
      this.onEvent();
    });
  }
}

/** One simulated rig, one ledger and one folder, on which runs follow each other. Nothing is printed, nothing is global. */
export class Stage extends RehearsalStage implements AsyncDisposable {
  readonly frames: FrameTruth[] = [];
  /** Called as the agent tells its progress, in every run. */
  onProgress: (now: Progress) => void = () => {};
  readonly #clock: StageClock;
  readonly #hasPerson: boolean;

  constructor(
    readonly options: StageOptions,
    clock: StageClock,
    simulator: Simulator,
  ) {
    const { rig = {}, protocol, log } = options;
    const scene = simulator.world.spec;
    const choice =
      typeof rig === "string" ? rig : rigTextFor(scene, { ...(protocol && { protocol }), ...rig });
    const rigFile = readRigFile(...textAndName(choice, "rig.yaml"));
    const folder = options.folder ?? mkdtempSync(join(tmpdir(), "evenfield-stage-"));
    const ledger = new Ledger(options.folder === undefined ? ":memory:" : join(folder, "ledger.sqlite"));
    const byHand = Object.values(rigFile.devices).some((device) => device && "by" in device);
    const kind = options.person ?? (byHand ? "obliging" : undefined);
    const person = typeof kind === "string" ? personOf(kind, simulator.world) : kind;
    super({ rigFile, ledger, folder, person, ...(log ? { log } : {}) }, clock, simulator);
    this.#clock = clock;
    this.#hasPerson = person !== undefined;
    const { painter } = simulator;
    const paint = painter.paint.bind(painter);
    painter.paint = (light, ask) => {
      this.frames.push({ takenUtcMs: clock.nowMs(), light, ask });
      return paint(light, ask);
    };
  }

  /** Plays a run to its end or to the agent's. */
  async play(options: PlayOptions = {}): Promise<RunPlayed> {
    const startedMs = this.clock.nowMs();
    const [firstFrame, folder] = [this.frames.length, this.#nextFolder(options.name)];
    const report = await this.#report(folder, options).catch((error: unknown) => {
      if (error instanceof AgentKilledError) return undefined;
      throw new Error(`${String(error)} (${this.#origin(options)})`, { cause: error });
    });
    return {
      ended: report?.ended ?? "killed",
      exitCode: report?.exitCode,
      record: report?.record,
      account: this.account(),
      differences: this.differences(),
      violations: checkWorld(this.world).filter(({ atMs }) => atMs >= startedMs),
      tube: accountTube(this.world, startedMs),
      frames: this.frames.slice(firstFrame),
      folder,
      files: filesBelow(folder),
      seconds: (this.clock.nowMs() - startedMs) / 1000,
      origin: this.#origin(options),
    };
  }

  /** As `play`, for who asks the agent alone. @throws AgentKilledError */
  run(options: PlayOptions = {}): Promise<RunReport> {
    return this.#report(this.#nextFolder(options.name), options);
  }

  /** As a new process does it: what the ledger's unfinished runs left is put back. @throws AgentKilledError, RigNotConnectedError */
  restore(faults: readonly ScriptedFault[] = []): Promise<readonly RecoveredRun[]> {
    return this.drive(faults, "restore", (tools) => {
      const { rigFile, ledger } = this;
      const connect: ConnectRig = (signal, _found, purpose) =>
        connectRigFile(rigFile, { ...tools, purpose }, signal);
      const records = { ledger, ledgerFile: ledger.file, runsFolders: [this.folder] };
      return restoreRig({ ...tools, rigFile, records, connect });
    });
  }

  async #report(folder: string, options: PlayOptions): Promise<RunReport> {
    const { onChange, onEvent } = options;
    const stopListening = onChange && this.world.listen((moment) => onChange(moment, this.world));
    this.#clock.onEvent = onEvent ? () => onEvent(this.world) : () => {};
    try {
      return await this.drive(options.faults ?? [], "run", ({ keeper, ...tools }) =>
        runPlan({
          ...tools,
          freeDiskMegabytes: () => this.disk.freeMegabytes ?? freeDiskMegabytes(folder),
          plan: readPlan(...textAndName(options.plan ?? this.options.plan ?? shortPlanText, "plan.yaml")),
          rigFile: this.rigFile,
          folder,
          ledger: this.ledger,
          unattended: !this.#hasPerson,
          keepers: [keeper()],
          warn: (text) => options.onWarning?.(text),
          progress: (now) => {
            this.onProgress(now);
            options.onProgress?.(now);
          },
          writeOutputs: async () => [],
        }),
      );
    } finally {
      stopListening?.();
      this.#clock.onEvent = () => {};
    }
  }

  #nextFolder(name?: string): string {
    this.processCount++;
    this.disk.folder = join(
      this.folder,
      name ?? (this.processCount === 1 ? "run" : `run-${this.processCount}`),
    );
    return this.disk.folder;
  }

  #origin({ faults = [] }: PlayOptions): string {
    const { seed, startUtc, camera } = this.world.spec;
    const script = faults.map(({ fault, afterSeconds, forSeconds }) => {
      const until = forSeconds === undefined ? "" : ` for ${forSeconds.toFixed(3)} s`;
      return `${fault.name} at ${afterSeconds.toFixed(3)} s${until}`;
    });
    const protocols = Object.entries(this.rigFile.devices).flatMap(([role, device]) => {
      const server = device && "server" in device ? this.rigFile.servers[device.server] : undefined;
      return server ? [`${role} ${Object.keys(server).join()}`] : [];
    });
    return [
      `seed ${seed}, ${startUtc}, ${camera.widthPx} x ${camera.heightPx} px`,
      `${protocols.join(", ")}; run ${this.processCount}`,
      `faults: ${script.join(", ") || "none"}`,
    ].join("; ");
  }

  async [Symbol.asyncDispose](): Promise<void> {
    this.killAgent();
    await this.simulator.close();
    this.ledger[Symbol.dispose]();
    if (this.options.folder === undefined) rmSync(this.folder, { recursive: true, force: true });
  }
}

/** Opens a simulated rig, to be disposed of. @throws FileProblemsError for a bad rig file */
export async function openStage(options: StageOptions = {}): Promise<Stage> {
  const { scene = smallScene, seed, startUtc, mechanics, alpaca } = options;
  const spec = { ...scene, ...(startUtc === undefined ? {} : { startUtc }) };
  const clock = new StageClock(Date.parse(spec.startUtc));
  const simulator = await startSimulator({
    spec,
    clock,
    ...(seed === undefined ? {} : { seed }),
    ...(mechanics ? { mechanics } : {}),
    ...(alpaca ? { alpaca } : {}),
  });
  return new Stage(options, clock, simulator);
}

/** One run on a stage of its own, which is gone afterwards; its files too, unless a `folder` is given. */
export async function playRun(
  options: StageOptions & PlayOptions = {},
): Promise<RunPlayed & { readonly world: World; readonly clock: VirtualClock }> {
  await using stage = await openStage(options);
  return { ...(await stage.play(options)), world: stage.world, clock: stage.clock };
}

/** A text of several lines is itself; anything else is a path. */
function textAndName(textOrPath: string, name: string): [text: string, file: string] {
  return textOrPath.includes("\n") ? [textOrPath, name] : [readFileSync(textOrPath, "utf8"), textOrPath];
}

function filesBelow(folder: string): string[] {
  return readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile())
    .map((entry) => relative(folder, join(entry.parentPath, entry.name)))
    .toSorted();
}

export { AgentKilledError } from "../../agent/rehearsal/agent-life.ts";
export { checkWorld } from "../../agent/rehearsal/checkers/check-world.ts";
export type { Finding } from "../../agent/rehearsal/checkers/checker.ts";
export {
  agentKilled,
  agentStopped,
  clockStepped,
  keeperKilled,
  stopAsked,
} from "../../agent/rehearsal/faults/agent-faults.ts";
export * as alpacaFaults from "../../agent/rehearsal/faults/alpaca-faults.ts";
export { drawFaults } from "../../agent/rehearsal/faults/draw-faults.ts";
export { at, type Fault, type ScriptedFault } from "../../agent/rehearsal/faults/fault.ts";
export * as indiFaults from "../../agent/rehearsal/faults/server-faults.ts";
export * as worldFaults from "../../agent/rehearsal/faults/world-faults.ts";
export type { AgentTools } from "../../agent/rehearsal/rehearsal-stage.ts";
export { sceneOfWidth, shortPlanText, smallScene, tinyScene } from "./scenes.ts";
