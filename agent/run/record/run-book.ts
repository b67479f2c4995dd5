import type { Clock } from "../../../drivers/kit/clock.ts";
import type { Log } from "../../../drivers/kit/log.ts";
import type { PlanStep } from "../../../plans/plan-steps.ts";
import type { StepOutcome } from "../../procedures/step.ts";
import type { AgendaEntry } from "../machine/agenda.ts";
import { CutShort, RunRefusedError } from "../machine/run-hands.ts";
import { NotRecoveredError } from "../restoring/recover.ts";
import { EventsFile } from "./events-file.ts";
import { failureRecord, stepFailure } from "./failure-record.ts";
import type { RunFacts } from "./run-outcome.ts";
import type { FailureRecord, SettingRecord, StepRecord, TimelineEntry } from "./run-record.ts";

/** Writes down what happens in a run: to `events.ndjson` at once, and for the record at the end. */
export class RunBook implements Disposable {
  readonly timeline: TimelineEntry[] = [];
  readonly steps: StepRecord[] = [];
  readonly guardEvents: { utcMs: number; reasons: readonly string[] }[] = [];
  settings: readonly SettingRecord[] = [];
  /** The baseline is on disk: from here on the rig may differ from it. */
  begun = false;
  /** The restoring has come to its end, well or badly. */
  restored = false;
  stepUnderWay: PlanStep | undefined;
  /** A step that looks at the Sun has begun. */
  looking = false;
  #stopAsked = false;
  #refusedFor: RunFacts["refusedFor"];
  #notRecovered = false;
  #failure: FailureRecord | undefined;
  #stepStartedUtcMs = 0;
  readonly #events: EventsFile;

  constructor(
    folder: string,
    readonly clock: Clock,
    readonly log: Log,
  ) {
    this.#events = new EventsFile(folder, log);
  }

  note(event: string, fields?: Readonly<Record<string, unknown>>): void {
    const entry = { utcMs: this.clock.nowMs(), event, ...(fields === undefined ? {} : { fields }) };
    this.timeline.push(entry);
    this.#events.write(entry);
    this.log.info({ ...fields }, event);
  }

  /** As `note`, and onto the disk before it returns. */
  noteSurely(event: string, fields?: Readonly<Record<string, unknown>>): void {
    this.note(event, fields);
    this.#events.sync();
  }

  /** The first failure is the one that is told at the end. */
  fail(error: unknown): void {
    if (error instanceof CutShort) return;
    if (error instanceof RunRefusedError) this.#refusedFor ??= error.kind;
    if (error instanceof NotRecoveredError) this.#notRecovered = true;
    const failure = failureRecord(error);
    this.#failure ??= failure;
    this.noteSurely("failed", { ...failure });
  }

  stopAsked(): void {
    this.#stopAsked = true;
    this.noteSurely("the operator asks to stop");
  }

  skyLost(reasons: readonly string[]): void {
    this.guardEvents.push({ utcMs: this.clock.nowMs(), reasons });
    this.noteSurely("not safe to look", { reasons });
  }

  stepBegins(stepIndex: number, { step, because }: AgendaEntry): void {
    this.stepUnderWay = step;
    if (step.step !== "wait") this.looking = true;
    this.#stepStartedUtcMs = this.clock.nowMs();
    this.noteSurely("step begins", {
      stepIndex,
      step: step.step,
      ...(because === undefined ? {} : { because }),
    });
  }

  stepEnded(stepIndex: number, { step, because }: AgendaEntry, outcome: StepOutcome<unknown>): void {
    this.stepUnderWay = undefined;
    const { step: kind, ...options } = step;
    const failure = stepFailure(outcome);
    this.steps.push({
      stepIndex,
      kind,
      options,
      ...(because === undefined ? {} : { because }),
      startedUtcMs: this.#stepStartedUtcMs,
      endedUtcMs: this.clock.nowMs(),
      ended: outcome.ended,
      ...(outcome.found === undefined ? {} : { found: outcome.found }),
      ...(failure === undefined ? {} : { failure }),
    });
    if (failure) this.#failure ??= failure;
    this.noteSurely("step ended", {
      stepIndex,
      step: kind,
      ended: outcome.ended,
      ...(failure ? { failure } : {}),
    });
  }

  get refused(): boolean {
    return this.#refusedFor !== undefined;
  }

  get facts(): RunFacts {
    return {
      steps: this.steps,
      settings: this.settings,
      failure: this.#failure,
      guardTripped: this.guardEvents.length > 0,
      stopAsked: this.#stopAsked,
      begun: this.begun,
      refusedFor: this.#refusedFor,
      notPutBack: this.#notRecovered || (this.begun && !this.restored),
    };
  }

  /** Why it was not safe to look, if it was not. */
  get retreatedBecause(): readonly string[] {
    const unsafeSteps = this.steps.filter((step) => step.ended === "unsafe");
    return [
      ...this.guardEvents.flatMap((event) => event.reasons),
      ...unsafeSteps.map((step) => step.failure?.message ?? `the step ${step.kind} found it unsafe`),
    ];
  }

  [Symbol.dispose](): void {
    this.#events[Symbol.dispose]();
  }
}
