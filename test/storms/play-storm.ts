import { createHash } from "node:crypto";
import { existsSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { checkWorld } from "../../agent/rehearsal/checkers/check-world.ts";
import { commandBeforeBaseline } from "../../agent/rehearsal/checkers/command-before-baseline.ts";
import { coverLieShownMs } from "../../agent/rehearsal/checkers/exposed-too-long.ts";
import type { Happened, Life, Violation } from "../../agent/rehearsal/checkers/happened.ts";
import { leftAtEnd } from "../../agent/rehearsal/checkers/left-at-end.ts";
import { overlappingCommands } from "../../agent/rehearsal/checkers/overlapping-commands.ts";
import { pastLimit } from "../../agent/rehearsal/checkers/past-limit.ts";
import type { Ending } from "../../agent/rehearsal/checkers/reported-at-end.ts";
import { describeRun } from "../../agent/run/record/describe-run.ts";
import type { SettingRecord } from "../../agent/run/record/run-record.ts";
import { describeCovered } from "../../agent/safing/front.ts";
import { Random } from "../../drivers/kit/random.ts";
import type { RoleName } from "../../drivers/roles/roles.ts";
import { usualMechanics } from "../../sim-devices/scene/mechanics/mechanics-spec.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { AgentKilledError, openStage, type Stage } from "../stage/stage.ts";
import { drivenRoles } from "./draw-storm.ts";
import { kindOf } from "./fault-kinds.ts";
import { judgeStorm } from "./judge-storm.ts";
import { type Note, PhaseWatch } from "./phase-watch.ts";
import type { Phase, Storm, StormFault } from "./storm.ts";
import { planText, sunAltitudeDegreesMin } from "./storm-plans.ts";
import { sceneOf } from "./storm-scene.ts";

/** A run that takes longer than this will never end [s]. */
const endlessSeconds = 2 * 3600;

export interface StormPlayed {
  readonly storm: Storm;
  readonly violations: readonly Violation[];
  readonly happened: Happened;
  readonly endings: readonly Ending[];
  /** What the agent noted meanwhile. */
  readonly notes: readonly Note[];
  /** Of all that happened to the rig and all that was said of it: the same for the same storm. */
  readonly digest: string;
  /** How often each phase was seen. */
  readonly phases: ReadonlyMap<Phase, number>;
  /** [s] of the world's clock */
  readonly seconds: number;
}

/** Plays a storm to its end: a run, and what restores the rig where the run could not. */
export async function playStorm(storm: Storm): Promise<StormPlayed> {
  const folder = mkdtempSync(join(existsSync("/dev/shm") ? "/dev/shm" : tmpdir(), "evenfield-storm-"));
  try {
    return await new StormPlay(storm, folder).play();
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

class StormPlay {
  readonly #watch = new PhaseWatch();
  readonly #lives: Life[] = [];
  readonly #endings: Ending[] = [];
  readonly #troubles: Violation[] = [];
  readonly #waiting: StormFault[];
  readonly #endFault: (() => void)[] = [];
  #stage!: Stage;
  #hasStruck = false;

  constructor(
    readonly storm: Storm,
    readonly folder: string,
  ) {
    this.#waiting = [...storm.faults];
  }

  async play(): Promise<StormPlayed> {
    const { storm, folder } = this;
    const { protocol, without, byHand, person, silenceSecondsMax } = storm.rig;
    await using stage = await openStage({
      scene: sceneOf(storm),
      folder,
      rig: { protocol, without, byHand, silenceSecondsMax },
      ...(person && { person }),
      plan: planText(storm.plan),
      log: this.#watch.log,
      mechanics: { dome: { ...usualMechanics.dome, startsOpen: storm.found.domeOpen } },
    });
    this.#stage = stage;
    this.#watch.watch(stage.world);
    this.#watch.onPhase = (phase, nth) => this.#begin(phase, nth);
    const startedMs = stage.clock.nowMs();
    await this.#run();
    await this.#putBackWhatIsLeft();
    stage.world.recordState();
    const happened = this.#happened();
    const findings = checkWorld(stage.world, [
      commandBeforeBaseline,
      leftAtEnd,
      pastLimit,
      overlappingCommands,
    ]);
    const violations = [
      ...this.#troubles,
      ...judgeStorm({ storm, happened, endings: this.#endings, findings }),
    ];
    return {
      storm,
      violations,
      happened,
      endings: this.#endings,
      notes: this.#watch.notes,
      digest: digestOf(happened, this.#endings, violations),
      phases: this.#watch.seen,
      seconds: (stage.clock.nowMs() - startedMs) / 1000,
    };
  }

  async #run(): Promise<void> {
    await this.#live("run", async (stage) => {
      const report = await stage.run();
      const { exitCode, record } = report;
      if (exitCode === 1) this.#trouble("fault of ours", record.failure?.message ?? "exit code 1");
      const isReportedUncovered = describeRun(report).state.includes("not proved to be covered");
      return { exitCode, settings: record.settings, files: record.files, isReportedUncovered };
    });
  }

  /** As its owner does: after a while, and once more when the faults are repaired. */
  async #putBackWhatIsLeft(): Promise<void> {
    for (const repair of [false, true]) {
      const stage = this.#stage;
      if (stage.ledger.unfinishedRuns("scene").length === 0) return;
      await stage.clock.drive(stage.clock.sleep(this.storm.restartSeconds));
      if (repair) for (const end of this.#endFault.splice(0)) end();
      await this.#live("restore", async () => {
        const recovered = await stage.restore();
        const isReportedUncovered = recovered.some(
          ({ safety }) => safety && describeCovered(safety.covered).startsWith("not"),
        );
        return { settings: recovered.flatMap(({ settings }) => settings), isReportedUncovered };
      });
    }
  }

  /** One agent process, from its beginning to its end or its death. */
  async #live(
    purpose: Life["purpose"],
    work: (stage: Stage) => Promise<{
      readonly exitCode?: number;
      readonly settings: readonly SettingRecord[];
      readonly files?: readonly string[];
      readonly isReportedUncovered?: boolean;
    }>,
  ): Promise<void> {
    const stage = this.#stage;
    const { clock } = stage;
    const fromMs = clock.nowMs();
    const firstNote = this.#watch.notes.length;
    const tooLong = clock.setTimer(endlessSeconds, () => {
      const waitsForPerson =
        this.storm.rig.person === "absent" &&
        !stage.world.history.some(({ part }) => part === "mount" || part === "cover");
      if (!waitsForPerson) this.#trouble("endless", `no end within ${endlessSeconds} s`);
      stage.killAgent();
    });
    this.#watch.reach(purpose === "run" ? "start" : "restoring");
    let isKilled = false;
    const ended = await work(stage).catch((error: unknown) => {
      isKilled = error instanceof AgentKilledError;
      if (!isKilled && !this.#nothingReached() && !this.#isAskedFor(error))
        this.#trouble(`${purpose} throws`, String(error));
      return undefined;
    });
    tooLong.cancel();
    const noted = (what: string) =>
      this.#watch.notes.slice(firstNote).find((note) => note.what === what)?.atMs;
    const life: Life = {
      purpose,
      fromMs,
      untilMs: clock.nowMs(),
      isKilled,
      ...defined({
        baselineMs: purpose === "restore" ? fromMs : noted("baseline is on disk"),
        retreatMs: noted("retreating"),
        restoreMs: purpose === "restore" ? fromMs : noted("restoring"),
      }),
    };
    this.#lives.push(life);
    if (!ended) return;
    this.#endings.push({
      atMs: clock.nowMs(),
      purpose,
      ...defined({
        exitCode: ended.exitCode,
        settings: ended.settings,
        isReportedUncovered: ended.isReportedUncovered,
      }),
      differences: stage
        .differences()
        .filter((line) => !(stage.isHeldByKeeper && line.includes(".CONNECTION ")))
        .filter((line) => !isArrival(line, stage.world.mount.believedAxes.decDegrees) && !this.#isBusy(line)),
      unknowable: this.#unknowable(life),
      ...(ended.files && { files: ended.files, folder: stage.disk.folder }),
    });
  }

  /** A mount whose drive never says that it is done stands still all the same. */
  #isBusy(line: string): boolean {
    const staysBusy = this.#stage.struck.some(
      ({ fault, endedMs }) => endedMs === undefined && fault.staysBusy?.includes("mount"),
    );
    return staysBusy && line.startsWith("mount.phase ");
  }

  #trouble(name: string, what: string): void {
    this.#troubles.push({ atMs: this.#stage.clock.nowMs(), class: name, what });
  }

  /** Restoring ends by the operator's stop as long as it has not begun to put anything back. */
  #isAskedFor(error: unknown): boolean {
    return (
      error instanceof Error &&
      this.#stage.struck.some(({ fault }) => fault.name === `${error.message} to the agent`)
    );
  }

  /** No server answers, or none in time, so that nobody could do anything. */
  #nothingReached(): boolean {
    return this.#stage.struck.some(
      ({ fault, endedMs }) =>
        endedMs === undefined &&
        (fault.tooSlowToConnect || (fault.blocks?.includes("cover") && fault.blocks.includes("mount"))),
    );
  }

  /** Settings lied about, what others moved while the rig was put back or after, and what no device of the rig stands for. */
  #unknowable({ fromMs, baselineMs, restoreMs, untilMs }: Life): string[] {
    const driven = drivenRoles(this.storm.rig);
    const isUndriven = (role: RoleName) => !driven.includes(role);
    const shownMs = coverLieShownMs(this.#happened());
    // To the process whose frame it was: another one has nothing to compare a frame with.
    const isKnowable = (setting: string) =>
      setting.startsWith("cover.") && shownMs !== undefined && shownMs >= fromMs;
    return this.#stage.struck.flatMap(({ fault: { lies = [], foreign = [] }, beganMs, endedMs }) => {
      const lasts = endedMs === undefined;
      const puttingBackMs = restoreMs ?? untilMs;
      // What is done before the baseline is read is how the rig is found.
      const isEarly = baselineMs === undefined || beganMs <= baselineMs;
      const isLate = isEarly || beganMs >= puttingBackMs;
      return [
        // Whoever deceives while the baseline is read, or while the rig is put back, deceives who compares the two.
        ...lies.filter(
          (setting) =>
            (lasts || endedMs >= puttingBackMs || (isEarly && endedMs >= fromMs)) && !isKnowable(setting),
        ),
        ...foreign.filter((role) => lasts || isLate || isUndriven(role)),
      ];
    });
  }

  #begin(phase: Phase, nth: number): void {
    const due = this.#waiting.filter(({ when }) => when.phase === phase && when.nth === nth);
    for (const fault of due) {
      this.#waiting.splice(this.#waiting.indexOf(fault), 1);
      this.#stage.clock.setTimer(fault.when.afterSeconds, () => this.#strike(fault));
    }
  }

  #strike({ kind, draw, forSeconds }: StormFault): void {
    const fault = kindOf(kind).draw(new Random(draw), drivenRoles(this.storm.rig));
    const script = { fault, afterSeconds: 0, ...(forSeconds !== undefined && { forSeconds }) };
    this.#endFault.push(this.#stage.begin(script));
    if (this.#hasStruck) return;
    this.#hasStruck = true;
    this.#watch.reach("afterFirst");
  }

  #happened(): Happened {
    const { world, struck } = this.#stage;
    const { rig } = this.storm;
    return {
      moments: [...world.history],
      struck: struck.map(({ fault: { begin: _begin, ...fault }, beganMs, endedMs }) => ({
        ...fault,
        beganMs,
        ...defined({ endedMs }),
      })),
      lives: this.#lives,
      rig: {
        driven: drivenRoles(rig),
        byHand: rig.byHand,
        ...defined({ person: rig.person }),
        silenceSecondsMax: rig.silenceSecondsMax,
        sunAltitudeDegreesMin,
        sunInFrameDegrees: sunInFrameDegrees(world.spec),
        coverSeconds: world.mechanics.coverSeconds,
      },
    };
  }
}

function defined<T extends object>(given: T): { [K in keyof T]?: Exclude<T[K], undefined> } {
  return Object.fromEntries(Object.entries(given).filter(([, value]) => value !== undefined)) as never;
}

/** A mount that stands as near to where it stood as a driver takes for arrived [0.1 degrees]. */
function isArrival(line: string, decDegrees: number): boolean {
  const [, axis, was, is] =
    /^mount\.(raHours|hourAngleDegrees|decDegrees) was (\S+) and is (\S+)$/.exec(line) ?? [];
  const perUnit = axis === "raHours" ? 15 : 1;
  const onSky = axis === "decDegrees" ? 1 : Math.cos((decDegrees * Math.PI) / 180);
  return Math.abs(Number(was) - Number(is)) * perUnit * onSky < 0.1;
}

/** The disc's middle is not outside of the frame by more than three quarters of its radius. */
function sunInFrameDegrees({ camera, optics }: SceneSpec): number {
  const halfSideMm = (camera.widthPx * camera.pixelMicron) / 2000;
  return (Math.atan(halfSideMm / optics.focalLengthMm) * 180) / Math.PI + 0.75 * 0.266;
}

function digestOf(happened: Happened, endings: readonly Ending[], violations: readonly Violation[]): string {
  const hash = createHash("sha256");
  const { moments, struck, lives } = happened;
  const said = endings.map(({ exitCode, settings, differences }) => ({ exitCode, settings, differences }));
  for (const part of [moments, struck, lives, said, violations]) hash.update(JSON.stringify(part));
  return hash.digest("hex").slice(0, 16);
}
