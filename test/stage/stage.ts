/**
 * A stage for whole runs: the agent as it is, over INDI bytes or Alpaca requests in memory, against the simulated world
 * on a clock that jumps; README.md beside this file shows how.
 */
import { mkdtempSync, readdirSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, relative } from "node:path";
import { BeatenKeeper } from "../../agent/keeper/beat-keeper.ts";
import type { WatchEnded } from "../../agent/keeper/watch-agent.ts";
import type { Progress } from "../../agent/procedures/step.ts";
import {
  type ConnectRig,
  type ConnectTools,
  connectRigFile,
} from "../../agent/run/checks/connect-rig-file.ts";
import { freeDiskMegabytes } from "../../agent/run/checks/free-disk.ts";
import type { AskPerson } from "../../agent/run/checks/hand-cover.ts";
import type { RigKeeper } from "../../agent/run/guard/rig-keeper.ts";
import { Ledger } from "../../agent/run/ledger/ledger.ts";
import { restoreRig } from "../../agent/run/machine/restore-rig.ts";
import { runPlan } from "../../agent/run/machine/run-plan.ts";
import type { RunEnded, RunRecord, RunReport } from "../../agent/run/record/run-record.ts";
import type { RecoveredRun } from "../../agent/run/restoring/recover.ts";
import { type Log, silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import { readPlan } from "../../plans/plan-file.ts";
import { type RigFile, readRigFile } from "../../plans/rig-file.ts";
import type { MechanicsSpec } from "../../sim-devices/scene/mechanics/mechanics-spec.ts";
import type { Moment } from "../../sim-devices/scene/moment.ts";
import type { ExposureAsk, LightPath } from "../../sim-devices/scene/painter-contract.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import type { World } from "../../sim-devices/scene/world.ts";
import { accountDifferences, type WorldAccount } from "../../sim-devices/scene/world-account.ts";
import type { SceneDeviceOptions } from "../../sim-devices/scene-devices.ts";
import { type Simulator, startSimulator } from "../../sim-devices/start-simulator.ts";
import { AgentKilledError, AgentLife } from "./agent-life.ts";
import { checkWorld } from "./checkers/check-world.ts";
import type { Finding } from "./checkers/checker.ts";
import { noteBaselines } from "./checkers/command-before-baseline.ts";
import { ComputerClock } from "./computer-clock.ts";
import { type AgentDisk, playFaults, type ScriptedFault, type StruckFault } from "./faults/fault.ts";
import { type PersonKind, personOf } from "./persons.ts";
import { type ProtocolChoice, type RigChoice, rigTextFor } from "./rig-text.ts";
import { shortPlanText, smallScene } from "./scenes.ts";
import { StageKeeper } from "./stage-keeper.ts";
import { accountTube, type TubeAccount } from "./tube-account.ts";

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

/** What an agent on the stage is given, for who lets it do other things than runs. */
export interface AgentTools extends ConnectTools {
  readonly exchanges: NonNullable<ConnectTools["exchanges"]>;
  readonly signal: AbortSignal;
  keeper(): RigKeeper;
  freeDiskMegabytes(): number;
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
export class Stage implements AsyncDisposable {
  readonly folder: string;
  readonly ledger: Ledger;
  readonly rigFile: RigFile;
  /** Each device's true state when the stage was opened. */
  readonly before: WorldAccount;
  readonly frames: FrameTruth[] = [];
  /** Every fault that has begun, in order. */
  readonly struck: StruckFault[] = [];
  /** Where the agent writes, as faults get at it. */
  readonly disk: AgentDisk & { folder: string };
  /** Called as the agent tells its progress, in every run. */
  onProgress: (now: Progress) => void = () => {};
  /** On which one agent runs after the other. */
  readonly #computer: ComputerClock;
  readonly #person: AskPerson | undefined;
  #keeper: StageKeeper;
  #stop = new AbortController();
  #life = new AgentLife();
  #runs = 0;

  constructor(
    readonly options: StageOptions,
    readonly clock: StageClock,
    readonly simulator: Simulator,
  ) {
    const { rig = {}, protocol } = options;
    this.#computer = new ComputerClock(clock);
    const scene = simulator.world.spec;
    const choice =
      typeof rig === "string" ? rig : rigTextFor(scene, { ...(protocol && { protocol }), ...rig });
    this.rigFile = readRigFile(...textAndName(choice, "rig.yaml"));
    this.folder = options.folder ?? mkdtempSync(join(tmpdir(), "evenfield-stage-"));
    this.ledger = new Ledger(options.folder === undefined ? ":memory:" : join(this.folder, "ledger.sqlite"));
    this.disk = {
      folder: this.folder,
      ledgerFile: this.ledger.file,
      freeMegabytes: undefined,
      refuseLedger: (refuses) => {
        this.ledger.database.run(`pragma query_only = ${refuses ? "on" : "off"}`);
      },
    };
    this.before = simulator.world.account();
    const byHand = Object.values(this.rigFile.devices).some((device) => device && "by" in device);
    const person = options.person ?? (byHand ? "obliging" : undefined);
    this.#person = typeof person === "string" ? personOf(person, simulator.world) : person;
    this.#keeper = this.#newKeeper();
    const { painter } = simulator;
    const paint = painter.paint.bind(painter);
    painter.paint = (light, ask) => {
      this.frames.push({ takenUtcMs: clock.nowMs(), light, ask });
      return paint(light, ask);
    };
  }

  get world(): World {
    return this.simulator.world;
  }

  /** The operator's stop to the run under way, orderly. */
  stop(reason: Error = new Error("Ctrl-C")): void {
    this.#stop.abort(reason);
  }

  /**
   * The agent's process is gone, cleanup and all: `play` ends with "killed", and the ledger has an unfinished run.
   * Called from `onProgress`, which is the agent's own code, it strikes at the agent's next wait.
   */
  killAgent(): void {
    this.#life.kill();
  }

  /** The keeper's process is gone; the next run has a new one. */
  killKeeper(): void {
    this.#keeper.kill();
  }

  /** Connected by it: it has been told that the agent left the rig not safe, or is gone. */
  get isHeldByKeeper(): boolean {
    return this.#keeper.isTaking;
  }

  /** Until no keeper has anything to do any more: as the rig's lock does it, before the next run or restoring begins. */
  async untilKept(): Promise<readonly WatchEnded[]> {
    return await this.clock.drive(Promise.all(this.#keeper.ended));
  }

  #newKeeper(): StageKeeper {
    const { rigFile, clock, simulator } = this;
    const log = this.options.log ?? silentLog;
    const random = new Random(this.world.spec.seed).fork(`keeper ${this.#runs}`);
    const links = { openers: () => simulator.openIndi, exchanges: simulator.openAlpaca };
    const connect: ConnectRig = (signal, found, purpose) =>
      connectRigFile(rigFile, { ...links, clock, random, log, found, purpose }, signal);
    return new StageKeeper({ rigFile, connect, clock, log, lock: async () => new DisposableStack() });
  }

  /** Each device's true state now. */
  account(): WorldAccount {
    return this.world.account();
  }

  /** What is not as it was when the stage was opened, connections included. */
  differences(): readonly string[] {
    return accountDifferences(this.before, this.account(), { connections: true });
  }

  /** Sets faults going, by seconds from now. @returns how to call off what has not begun and end what has */
  begin(...faults: readonly ScriptedFault[]): () => void {
    const agent = {
      stop: (reason: Error) => this.stop(reason),
      kill: () => this.killAgent(),
      stand: () => {
        const life = this.#life;
        life.stop();
        return () => life.goOn();
      },
      stepClock: (seconds: number) => this.#computer.step(seconds),
      killKeeper: () => this.killKeeper(),
    };
    return playFaults({ ...this.simulator, agent, disk: this.disk }, faults, this.struck);
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
    return this.#drive(faults, (life) => {
      const { rigFile, ledger } = this;
      const tools = this.#tools(life, "restore");
      const connect: ConnectRig = (signal, _found, purpose) =>
        connectRigFile(rigFile, { ...tools, purpose }, signal);
      const signal = this.#stop.signal;
      const records = { ledger, ledgerFile: ledger.file, runsFolders: [this.folder] };
      return restoreRig({ rigFile, records, connect, clock: tools.clock, log: tools.log, signal });
    });
  }

  /**
   * A new agent process at any work of the agent's, to its end: `signal` is the operator's stop, `keeper` gives the one that
   * holds the rig. @throws AgentKilledError
   */
  agent<T>(work: (tools: AgentTools) => Promise<T>, faults: readonly ScriptedFault[] = []): Promise<T> {
    this.#runs++;
    return this.#drive(faults, (life) =>
      work({
        ...this.#tools(life, "work"),
        signal: this.#stop.signal,
        keeper: () => this.#keeperOf(life),
        freeDiskMegabytes: () => this.disk.freeMegabytes ?? freeDiskMegabytes(this.folder),
      }),
    );
  }

  async #report(folder: string, options: PlayOptions): Promise<RunReport> {
    const { onChange, onEvent } = options;
    const stopListening = onChange && this.world.listen((moment) => onChange(moment, this.world));
    this.clock.onEvent = onEvent ? () => onEvent(this.world) : () => {};
    try {
      return await this.#drive(options.faults ?? [], (life) =>
        runPlan({
          ...this.#tools(life, "run"),
          freeDiskMegabytes: () => this.disk.freeMegabytes ?? freeDiskMegabytes(folder),
          plan: readPlan(...textAndName(options.plan ?? this.options.plan ?? shortPlanText, "plan.yaml")),
          rigFile: this.rigFile,
          folder,
          ledger: this.ledger,
          signal: this.#stop.signal,
          unattended: this.#person === undefined,
          keepers: [this.#keeperOf(life)],
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
      this.clock.onEvent = () => {};
    }
  }

  #keeperOf(life: AgentLife): BeatenKeeper {
    const { rigFile, clock } = this;
    const open = life.opener(this.#keeper.open);
    const log = this.options.log ?? silentLog;
    return new BeatenKeeper({ name: "the keeper", rig: rigFile.rig, open, clock: life.clock(clock), log });
  }

  /** A new agent process at work, to its end. */
  async #drive<T>(faults: readonly ScriptedFault[], work: (life: AgentLife) => Promise<T>): Promise<T> {
    await this.untilKept();
    this.#keeper = this.#newKeeper();
    this.#life = new AgentLife();
    this.#stop = new AbortController();
    const stopNoting = noteBaselines(this.world, this.ledger, this.rigFile.rig);
    this.begin(...faults);
    try {
      return await this.clock.drive(this.#life.until(work(this.#life)));
    } finally {
      stopNoting();
    }
  }

  #tools(life: AgentLife, purpose: string) {
    const opener = life.opener(this.simulator.openIndi);
    const person = this.#person;
    return {
      openers: () => opener,
      exchanges: () => life.exchange(this.simulator.openAlpaca()),
      clock: life.clock(this.#computer),
      random: new Random(this.world.spec.seed).fork(`${purpose} ${this.#runs}`),
      log: this.options.log ?? silentLog,
      ...(person ? { askPerson: person } : {}),
    };
  }

  #nextFolder(name?: string): string {
    this.#runs++;
    this.disk.folder = join(this.folder, name ?? (this.#runs === 1 ? "run" : `run-${this.#runs}`));
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
      `${protocols.join(", ")}; run ${this.#runs}`,
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

export { AgentKilledError } from "./agent-life.ts";
export { checkWorld } from "./checkers/check-world.ts";
export type { Finding } from "./checkers/checker.ts";
export { agentKilled, agentStopped, clockStepped, keeperKilled, stopAsked } from "./faults/agent-faults.ts";
export * as alpacaFaults from "./faults/alpaca-faults.ts";
export { drawFaults } from "./faults/draw-faults.ts";
export { at, type Fault, type ScriptedFault } from "./faults/fault.ts";
export * as indiFaults from "./faults/server-faults.ts";
export * as worldFaults from "./faults/world-faults.ts";
export { sceneOfWidth, shortPlanText, smallScene, tinyScene } from "./scenes.ts";
