import type { Random } from "../../drivers/kit/random.ts";
import type { RigFile } from "../../plans/rig-file.ts";
import { ScheduleRecord } from "../service/record/attempt-rows.ts";
import { type AgendaRow, composeAgenda } from "../service/schedule/agenda.ts";
import type { Attempt } from "../service/schedule/attempts.ts";
import type { LoadedSchedule } from "../service/schedule/loaded-schedule.ts";
import type { ScheduleSite } from "../service/schedule/moments.ts";
import { findOccasions } from "../service/schedule/occasions.ts";
import type { ServiceStatus } from "../service/service-status.ts";
import { checkWorld } from "./checkers/check-world.ts";
import type { Finding } from "./checkers/checker.ts";
import { drawTroubles } from "./draw-troubles.ts";
import { FrameAccount } from "./frame-account.ts";
import type { RehearsalStage } from "./rehearsal-stage.ts";
import { fitSlope, type ResourceSample, type ResourceSlope, ResourceUse } from "./resource-use.ts";
import { serveOnStage } from "./serve-on-stage.ts";
import { visitRig } from "./visit-rig.ts";

export interface DaysRequest {
  readonly loaded: LoadedSchedule;
  readonly site: ScheduleSite;
  readonly days: number;
  /** Draws what goes wrong. */
  readonly random: Random;
  readonly signal?: AbortSignal;
  /** Called at the end of each day. */
  onDay?(day: DayRehearsed): void;
}

export interface DayRehearsed {
  /** Counted from 1. */
  readonly day: number;
  readonly beganUtcMs: number;
  readonly attempts: readonly Attempt[];
  readonly troubles: readonly string[];
}

/** A time in which a person had to act, and what they were told. */
export interface HoldRehearsed {
  readonly fromUtcMs: number;
  readonly untilUtcMs: number;
  readonly because: string;
}

/** Days of service, by the service's word (`attempts`, `holds`) and by the world's. */
export interface DaysRehearsed {
  readonly fromUtcMs: number;
  readonly days: number;
  readonly attempts: readonly Attempt[];
  /** Due, and no word of how it went. */
  readonly forgotten: readonly string[];
  readonly unsafe: readonly Finding[];
  /** What is wrong with images that were taken. */
  readonly lostFrames: readonly string[];
  readonly imagesKept: number;
  readonly kills: number;
  readonly restarts: number;
  readonly holds: readonly HoldRehearsed[];
  readonly samples: readonly ResourceSample[];
  /** Absent for less than three days. */
  readonly slope: ResourceSlope | undefined;
}

const dayMs = 86_400_000;

/**
 * Serves a schedule for so many days from now on the stage's clock: weather, broken links, servers that go, devices that stick and
 * kills from the seed, every night a restart in good order, and then a person who looks after a rig that is held.
 * @throws the signal's reason between two processes
 */
export async function rehearseDays(stage: RehearsalStage, request: DaysRequest): Promise<DaysRehearsed> {
  return await new Days(stage, request).play();
}

class Days {
  readonly #fromUtcMs: number;
  readonly #frames: FrameAccount;
  readonly #resources = new ResourceUse();
  readonly #unsafe: Finding[] = [];
  readonly #holds: HoldRehearsed[] = [];
  #rigFile: RigFile;
  #kills = 0;
  #restarts = 0;
  #lastState: ServiceStatus["state"] | undefined;
  #endedHeld = false;
  #checkedUtcMs: number;

  constructor(
    readonly stage: RehearsalStage,
    readonly request: DaysRequest,
  ) {
    this.#fromUtcMs = stage.clock.nowMs();
    this.#checkedUtcMs = this.#fromUtcMs;
    this.#rigFile = stage.rigFile;
    this.#frames = new FrameAccount(stage.simulator.painter, stage.runsFolder);
  }

  async play(): Promise<DaysRehearsed> {
    const { days } = this.request;
    for (let day = 1; day <= days; day++) await this.#playDay(day);
    const attempts = this.#attemptsSince(0);
    return {
      fromUtcMs: this.#fromUtcMs,
      days,
      attempts,
      forgotten: this.#forgotten(attempts),
      unsafe: this.#unsafe,
      lostFrames: this.#frames.lost,
      imagesKept: this.#frames.keptCount,
      kills: this.#kills,
      restarts: this.#restarts,
      holds: this.#holds,
      samples: this.#resources.samples,
      slope: fitSlope(this.#resources.samples),
    };
  }

  async #playDay(day: number): Promise<void> {
    const { clock, struck } = this.stage;
    const beganUtcMs = this.#fromUtcMs + (day - 1) * dayMs;
    const endUtcMs = beganUtcMs + dayMs;
    struck.length = 0;
    while (clock.nowMs() < endUtcMs) await this.#playProcess(endUtcMs);
    await this.#letPersonAct();
    this.#resources.endDay();
    const attempts = this.#attemptsSince(beganUtcMs);
    this.request.onDay?.({ day, beganUtcMs, attempts, troubles: struck.map(({ fault }) => fault.name) });
  }

  async #playProcess(endUtcMs: number): Promise<void> {
    const { stage } = this;
    const { clock } = stage;
    const { loaded, site, random, signal } = this.request;
    signal?.throwIfAborted();
    const nowUtcMs = clock.nowMs();
    const secondsLeft = (endUtcMs - nowUtcMs) / 1000;
    const due = findOccasions(loaded.schedule.entries, site, { fromUtcMs: nowUtcMs, toUtcMs: endUtcMs });
    const dueSeconds = due.occasions.map(({ dueUtcMs }) => (dueUtcMs - nowUtcMs) / 1000);
    const { faults, darkMinutes } = drawTroubles(random, { secondsLeft, dueSeconds });
    this.#resources.beginProcess();
    this.#lastState = undefined;
    const runs = await serveOnStage(stage, {
      hours: secondsLeft / 3600,
      faults,
      readInput: () => ({ loaded, site, rigFile: this.#rigFile }),
      inputStamp: () => this.#rigFile.sunFilter.lastConfirmed,
      onStatus: (status) => this.#noteStatus(status),
    });
    const wasKilled = runs === undefined;
    if (wasKilled) {
      this.#kills++;
      this.#resources.buryProcess();
    } else this.#restarts++;
    this.#endHold();
    await stage.untilKept();
    this.#checkWorld(wasKilled);
    this.#frames.judge();
    if (darkMinutes > 0) await clock.drive(clock.sleep(darkMinutes * 60));
  }

  #noteStatus(status: ServiceStatus): void {
    this.#frames.noteStatus(status);
    const { state, because } = status;
    if (state === "held" && this.#lastState !== "held") {
      const nowUtcMs = this.stage.clock.nowMs();
      this.#holds.push({ fromUtcMs: nowUtcMs, untilUtcMs: Number.NaN, because });
    }
    if (state !== "held") this.#endHold();
    if (state === "stopping") this.#endedHeld = this.#lastState === "held";
    this.#lastState = state;
  }

  #endHold(): void {
    const last = this.#holds.at(-1);
    if (last && Number.isNaN(last.untilUtcMs))
      this.#holds[this.#holds.length - 1] = { ...last, untilUtcMs: this.stage.clock.nowMs() };
  }

  /** Once judged, what happened is forgotten: a world of weeks would not fit, and its growth would hide that of the service. */
  #checkWorld(wasKilled: boolean): void {
    const { world } = this.stage;
    // What a killed process leaves as it is, the next one puts back.
    const isMeant = ({ checker }: Finding) => wasKilled && checker === "leftAtEnd";
    const isNew = ({ atMs }: Finding) => atMs >= this.#checkedUtcMs;
    this.#unsafe.push(...checkWorld(world).filter((one) => isNew(one) && !isMeant(one)));
    const atMs = this.stage.clock.nowMs();
    if (world.spec.startsWith.cover === "closed" && world.cover.position > 0)
      this.#unsafe.push({
        atMs,
        checker: "leftOpen",
        what: "cover left open when a process had ended",
        role: "cover",
      });
    this.#checkedUtcMs = atMs;
    world.history.splice(0, world.history.length - 1);
  }

  /** In the evening somebody does what the service asked for, if it is held. */
  async #letPersonAct(): Promise<void> {
    if (this.#endedHeld) this.#rigFile = await visitRig(this.stage, this.#rigFile);
  }

  #attemptsSince(utcMs: number): readonly Attempt[] {
    return new ScheduleRecord(this.stage.ledger, this.#rigFile.rig).attempts(utcMs);
  }

  #forgotten(attempts: readonly Attempt[]): string[] {
    const { loaded, site } = this.request;
    const fromUtcMs = this.#fromUtcMs;
    const nowUtcMs = this.stage.clock.nowMs();
    const span = { fromUtcMs, toUtcMs: nowUtcMs, sinceUtcMs: fromUtcMs };
    const { rows } = composeAgenda({ ...loaded, site, attempts, nowUtcMs, ...span });
    return rows.filter((row) => !hasItsWord(row)).map(({ entry, occasion }) => `${entry} of ${occasion}`);
  }
}

/** Done, or ended otherwise with its reason; what may still begin is nobody's fault. */
function hasItsWord({ standing }: AgendaRow): boolean {
  if (standing.state === "ended")
    return standing.last.ended === "done" || standing.last.because !== undefined;
  return standing.state === "waiting" || standing.state === "due";
}
