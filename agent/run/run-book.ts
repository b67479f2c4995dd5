import type { Clock } from "../../drivers/kit/clock.ts";
import type { Log } from "../../drivers/kit/log.ts";
import type { PlanStep } from "../../plans/plan-steps.ts";
import type { StepOutcome } from "../procedures/step.ts";
import { EventsFile } from "./events-file.ts";
import { failureRecord } from "./failure-record.ts";
import type { FailureRecord, StepRecord, TimelineEntry } from "./run-record.ts";

/** Writes down what happens in a run: to `events.ndjson` at once, and for the record at the end. */
export class RunBook implements Disposable {
  readonly timeline: TimelineEntry[] = [];
  readonly steps: StepRecord[] = [];
  readonly guardEvents: { utcMs: number; reasons: readonly string[] }[] = [];
  failure: FailureRecord | undefined;
  readonly #events: EventsFile;
  #stepStartedUtcMs: number;

  constructor(
    folder: string,
    readonly clock: Clock,
    readonly log: Log,
  ) {
    this.#events = new EventsFile(folder, log);
    this.#stepStartedUtcMs = clock.nowMs();
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

  fail(error: unknown): FailureRecord {
    const failure = failureRecord(error);
    this.failure ??= failure;
    this.noteSurely("failed", { ...failure });
    return failure;
  }

  stepBegins(stepIndex: number, step: PlanStep): void {
    this.#stepStartedUtcMs = this.clock.nowMs();
    this.noteSurely("step begins", { stepIndex, step: step.step });
  }

  stepEnded(stepIndex: number, step: PlanStep, outcome: StepOutcome<unknown>): void {
    const { step: kind, ...options } = step;
    const failure = outcome.failure === undefined ? undefined : failureRecord(outcome.failure);
    this.steps.push({
      stepIndex,
      kind,
      options,
      startedUtcMs: this.#stepStartedUtcMs,
      endedUtcMs: this.clock.nowMs(),
      ended: outcome.ended,
      ...(outcome.found === undefined ? {} : { found: outcome.found }),
      ...(failure === undefined ? {} : { failure }),
    });
    if (failure) this.failure ??= failure;
    this.noteSurely("step ended", {
      stepIndex,
      step: kind,
      ended: outcome.ended,
      ...(failure ? { failure } : {}),
    });
  }

  skyLost(reasons: readonly string[]): void {
    this.guardEvents.push({ utcMs: this.clock.nowMs(), reasons });
    this.noteSurely("not safe to look", { reasons });
  }

  [Symbol.dispose](): void {
    this.#events[Symbol.dispose]();
  }
}
