import { join } from "node:path";
import { type Log, silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import type { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import type { RigFile } from "../../plans/rig-file.ts";
import type { World } from "../../sim-devices/scene/world.ts";
import { accountDifferences, type WorldAccount } from "../../sim-devices/scene/world-account.ts";
import type { Simulator } from "../../sim-devices/start-simulator.ts";
import { BeatenKeeper } from "../keeper/beat-keeper.ts";
import type { WatchEnded } from "../keeper/watch-agent.ts";
import { type ConnectRig, type ConnectTools, connectRigFile } from "../run/checks/connect-rig-file.ts";
import { freeDiskMegabytes } from "../run/checks/free-disk.ts";
import type { AskPerson } from "../run/checks/hand-cover.ts";
import type { RigKeeper } from "../run/guard/rig-keeper.ts";
import type { Ledger } from "../run/ledger/ledger.ts";
import { AgentLife } from "./agent-life.ts";
import { noteBaselines } from "./checkers/command-before-baseline.ts";
import { ComputerClock } from "./computer-clock.ts";
import { type AgentDisk, playFaults, type ScriptedFault, type StruckFault } from "./faults/fault.ts";
import { RehearsedKeeper } from "./rehearsed-keeper.ts";

export interface RehearsalStageOptions {
  readonly rigFile: RigFile;
  readonly ledger: Ledger;
  /** Where runs are written. */
  readonly folder: string;
  readonly log?: Log;
  /** Somebody at the terminal. */
  readonly person?: AskPerson | undefined;
}

/** What an agent on the stage is given. */
export interface AgentTools extends ConnectTools {
  readonly exchanges: NonNullable<ConnectTools["exchanges"]>;
  /** The operator's stop. */
  readonly signal: AbortSignal;
  readonly askPerson?: AskPerson;
  /** The one that holds the rig. */
  keeper(): RigKeeper;
  freeDiskMegabytes(): number;
}

/** One simulated rig, one ledger and one folder, on which agent processes follow each other, each with a keeper of its own. */
export class RehearsalStage {
  readonly folder: string;
  readonly ledger: Ledger;
  readonly rigFile: RigFile;
  /** Each device's true state when the stage was opened. */
  readonly before: WorldAccount;
  /** Every fault that has begun, in order. */
  readonly struck: StruckFault[] = [];
  /** Where the agent writes, as faults get at it. */
  readonly disk: AgentDisk & { folder: string };
  readonly #log: Log;
  readonly #person: AskPerson | undefined;
  /** On which one agent runs after the other. */
  readonly #computer: ComputerClock;
  #keeper: RehearsedKeeper;
  #stop = new AbortController();
  #life = new AgentLife();
  /** Processes that have been begun, for names and for chance. */
  protected processCount = 0;

  constructor(
    { rigFile, ledger, folder, log = silentLog, person }: RehearsalStageOptions,
    readonly clock: VirtualClock,
    readonly simulator: Simulator,
  ) {
    this.folder = folder;
    this.ledger = ledger;
    this.rigFile = rigFile;
    this.#log = log;
    this.#person = person;
    this.#computer = new ComputerClock(clock);
    this.disk = {
      folder,
      ledgerFile: ledger.file,
      freeMegabytes: undefined,
      refuseLedger: (refuses) => {
        ledger.database.run(`pragma query_only = ${refuses ? "on" : "off"}`);
      },
    };
    this.before = simulator.world.account();
    this.#keeper = this.#newKeeper();
  }

  /** In which a service's runs make their own folders. */
  get runsFolder(): string {
    return join(this.folder, "runs");
  }

  get world(): World {
    return this.simulator.world;
  }

  /** The operator's stop to the agent at work, orderly. */
  stop(reason: Error = new Error("Ctrl-C")): void {
    this.#stop.abort(reason);
  }

  /**
   * The agent's process is gone, cleanup and all; the ledger keeps its unfinished run. Called from the agent's own code it
   * strikes at the agent's next wait.
   */
  killAgent(): void {
    this.#life.kill();
  }

  /** The keeper's process is gone; the next agent has a new one. */
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

  #newKeeper(): RehearsedKeeper {
    const { rigFile, clock, simulator } = this;
    const log = this.#log;
    const random = new Random(this.world.spec.seed).fork(`keeper ${this.processCount}`);
    const links = { openers: () => simulator.openIndi, exchanges: simulator.openAlpaca };
    const connect: ConnectRig = (signal, found, purpose) =>
      connectRigFile(rigFile, { ...links, clock, random, log, found, purpose }, signal);
    return new RehearsedKeeper({ rigFile, connect, clock, log, lock: async () => new DisposableStack() });
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

  /** A new agent process at any work of the agent's, to its end. @throws AgentKilledError */
  agent<T>(work: (tools: AgentTools) => Promise<T>, faults: readonly ScriptedFault[] = []): Promise<T> {
    this.processCount++;
    return this.drive(faults, "work", work);
  }

  /** The same, of a process that is counted already. @param purpose its chance is another for each */
  protected async drive<T>(
    faults: readonly ScriptedFault[],
    purpose: string,
    work: (tools: AgentTools) => Promise<T>,
  ): Promise<T> {
    await this.untilKept();
    this.#keeper = this.#newKeeper();
    this.#life = new AgentLife();
    this.#stop = new AbortController();
    const stopNoting = noteBaselines(this.world, this.ledger, this.rigFile.rig);
    this.begin(...faults);
    try {
      return await this.clock.drive(this.#life.until(work(this.#tools(purpose))));
    } finally {
      stopNoting();
    }
  }

  #tools(purpose: string): AgentTools {
    const life = this.#life;
    const opener = life.opener(this.simulator.openIndi);
    const person = this.#person;
    return {
      openers: () => opener,
      exchanges: () => life.exchange(this.simulator.openAlpaca()),
      clock: life.clock(this.#computer),
      random: new Random(this.world.spec.seed).fork(`${purpose} ${this.processCount}`),
      log: this.#log,
      signal: this.#stop.signal,
      keeper: () => this.#keeperOf(life),
      freeDiskMegabytes: () => this.disk.freeMegabytes ?? freeDiskMegabytes(this.folder),
      ...(person ? { askPerson: person } : {}),
    };
  }

  #keeperOf(life: AgentLife): BeatenKeeper {
    const { rigFile, clock } = this;
    const open = life.opener(this.#keeper.open);
    return new BeatenKeeper({
      name: "the keeper",
      rig: rigFile.rig,
      open,
      clock: life.clock(clock),
      log: this.#log,
    });
  }
}
