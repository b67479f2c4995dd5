import { given } from "../../../drivers/kit/given.ts";
import type { Plan } from "../../../plans/plan-file.ts";
import type { StepKind } from "../../../plans/plan-steps.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import type { StepFindings } from "../../procedures/findings.ts";
import type { StepOutcome, TrainSeen } from "../../procedures/step.ts";
import { StepError, type UnsafeKind } from "../../procedures/step-error.ts";
import { newFront } from "../../safing/front.ts";
import type { Safety } from "../../safing/make-safe.ts";
import { isUnsafe } from "../../safing/unsafe-error.ts";
import type { AgendaEntry } from "../steps/agenda.ts";
import { failureRecord, stepFailure } from "./failure-record.ts";
import type { Journal } from "./journal.ts";
import { BaselineLostError, NotRecoveredError, RunRefusedError } from "./run-errors.ts";
import type {
  DeviceRecord,
  FailureRecord,
  LapseRecord,
  RetreatRecord,
  SettingRecord,
  StepRecord,
} from "./run-record.ts";

/** What is settled before a run begins. */
export interface RunSetting {
  readonly runId: string;
  readonly startedUtcMs: number;
  readonly plan: Plan;
  readonly rigFile: RigFile;
  readonly unattended: boolean;
  readonly folder: string;
}

/**
 * What has happened in a run, kept once: how it goes on, how it ended and its exit code all follow from this. What
 * changes it is written into the journal as it does.
 */
export class RunFacts {
  /** Those that have ended. */
  readonly steps: StepRecord[] = [];
  stepUnderWay: StepKind | undefined;
  readonly guardEvents: { utcMs: number; reasons: readonly string[] }[] = [];
  readonly lapses: LapseRecord[] = [];
  readonly retreats: RetreatRecord[] = [];
  /** What could not be put on the disk, for a person; how the rig is put back does not depend on it. */
  readonly unwritten: string[] = [];
  stopAsked = false;
  devices: readonly DeviceRecord[] = [];
  /** The baseline is on disk: from here on the rig may differ from it. */
  begun = false;
  train: TrainSeen | undefined;
  /** One object for the whole run: history is read into it, steps add to it, the guard looks at it. */
  readonly findings: StepFindings = { lightRate: {} };
  /** The same of the telescope's front. */
  readonly front = newFront();
  /** How the rig stood when it was made safe last. */
  safety: Safety | undefined;
  /** A step that needs the Sun has begun. */
  looking = false;
  /** The dome, if there is one, is open towards the Sun. */
  openedUp = false;
  /** The camera is as the plan names it. */
  cameraSetUp = false;
  /** As read back at the end; there once the restoring has come to its end, well or badly. */
  settings: readonly SettingRecord[] | undefined;
  /** Below the run's folder. */
  files: readonly string[] = [];
  /** The first of all. */
  failure: FailureRecord | undefined;
  refusedFor: RunRefusedError["kind"] | undefined;
  #notRecovered = false;
  /** Something failed that was no step. */
  #brokenOff = false;
  #stepStartedUtcMs = 0;
  /** Why the step under way is unsafe is written down. */
  #isUnsafeNoted = false;

  constructor(
    readonly setting: RunSetting,
    readonly journal: Journal,
    /** Puts a retreat where other processes find it; must not throw. */
    readonly saveRetreat: (retreat: RetreatRecord) => void,
  ) {}

  /** The guard or a step said that it is not safe to look. */
  get unsafe(): boolean {
    return this.guardEvents.length > 0 || this.steps.some((step) => step.ended === "unsafe");
  }

  /** No step may begin any more. */
  get mustEnd(): boolean {
    const stopsPlan = ({ ended, options }: StepRecord) => ended === "failed" && options.onFailure === "stop";
    return this.stopAsked || this.#brokenOff || this.steps.some(stopsPlan);
  }

  /** The restoring of this run or of an earlier one has not come to its end. */
  get notPutBack(): boolean {
    return this.#notRecovered || (this.begun && this.settings === undefined);
  }

  /** Something outside the steps failed, or was cut short. */
  breakOff(error: unknown, isInterruption: boolean): void {
    this.#brokenOff = true;
    if (isInterruption) return;
    if (error instanceof RunRefusedError) this.refusedFor ??= error.kind;
    if (error instanceof NotRecoveredError || error instanceof BaselineLostError) this.#notRecovered = true;
    const failure = failureRecord(error);
    this.failure ??= failure;
    this.journal.noteSurely("failed", { ...failure });
  }

  askStop(): void {
    if (this.stopAsked) return;
    this.stopAsked = true;
    this.journal.noteSurely("the operator asks to stop");
  }

  loseSky(reason: string, ofWeather: boolean): void {
    this.#noteRetreat(ofWeather ? "weather" : "other", reason);
    const reasons = [reason];
    this.guardEvents.push({ utcMs: this.journal.clock.nowMs(), reasons });
    this.journal.noteSurely("not safe to look", { reasons });
  }

  /** The guard tells the same lapse at its beginning and at its end. */
  noteLapse(lapse: LapseRecord): void {
    const { watch, reason, toUtcMs } = lapse;
    if (!this.lapses.includes(lapse)) this.lapses.push(lapse);
    this.journal.note(toUtcMs === undefined ? "a condition is not true" : "true again", { watch, reason });
  }

  beginStep({ step, because }: AgendaEntry, needsSun: boolean): void {
    this.stepUnderWay = step.step;
    this.#isUnsafeNoted = false;
    if (needsSun) this.looking = true;
    this.#stepStartedUtcMs = this.journal.clock.nowMs();
    const stepIndex = this.steps.length;
    this.journal.noteSurely("step begins", { stepIndex, step: step.step, ...given({ because }) });
  }

  /** Before the step makes safe: it can be cut off at any moment, and who puts the rig back has to know. */
  noteUnsafe(failure: Error): void {
    if (this.#isUnsafeNoted) return;
    this.#isUnsafeNoted = true;
    this.#noteRetreat(unsafeKind(failure), failure.message);
  }

  endStep({ step, because }: AgendaEntry, outcome: StepOutcome<unknown>): void {
    this.stepUnderWay = undefined;
    const { step: kind, ...options } = step;
    const { ended, found } = outcome;
    const failure = stepFailure(outcome);
    if (ended === "unsafe") this.noteUnsafe(outcome.failure ?? new Error(`the step ${kind} found it unsafe`));
    // No reason to end as unsafe; but who puts the rig back later has only the word of that cover.
    else if (this.front.disobeyed !== undefined) this.#noteRetreat("cover", this.front.disobeyed);
    const stepIndex = this.steps.length;
    this.steps.push({
      stepIndex,
      kind,
      options,
      ...given({ because }),
      startedUtcMs: this.#stepStartedUtcMs,
      endedUtcMs: this.journal.clock.nowMs(),
      ended,
      ...given({ found, failure }),
    });
    this.failure ??= failure;
    this.journal.noteSurely("step ended", { stepIndex, step: kind, ended, ...given({ failure }) });
  }

  /** Before the retreat begins: it can be cut off at any moment, and who puts the rig back has to know. */
  #noteRetreat(found: UnsafeKind, reason: string): void {
    const kind = found === "other" && this.front.contradiction !== undefined ? "cover" : found;
    const { runId, rigFile } = this.setting;
    const { lastConfirmed } = rigFile.sunFilter;
    const utcMs = Math.round(this.journal.clock.nowMs());
    const retreat = { rig: rigFile.rig, runId, utcMs, kind, reason, lastConfirmed };
    this.retreats.push(retreat);
    this.saveRetreat(retreat);
  }
}

/** A step that does not say why counts as one that saw too much light: then a person looks before anything opens. */
function unsafeKind(failure: Error): UnsafeKind {
  if (isUnsafe(failure)) return "other";
  return failure instanceof StepError && failure.unsafe !== false ? failure.unsafe : "brightness";
}
