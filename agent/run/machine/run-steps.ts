import { given } from "../../../drivers/kit/given.ts";
import type { FlatInUse } from "../../procedures/findings.ts";
import type { StepOutcome, Workbench } from "../../procedures/step.ts";
import { Threads } from "../../threads/threads.ts";
import { StepAbandonedError } from "../record/run-errors.ts";
import type { RunFacts } from "../record/run-facts.ts";
import { trackingLapses } from "../record/tracking-doubts.ts";
import { StepList } from "../steps/agenda.ts";
import { newFlatRefusal } from "../steps/new-flat.ts";
import { type PlanScene, rowOf, type StepRow } from "../steps/step-row.ts";
import type { RunOptions } from "./run-options.ts";

/** The rig, and who says when it may be uncovered. */
type OnRig = Pick<Workbench, "rig" | "whyKeepCovered">;

/** Steps uncover at the Sun, or where a search for it begins; the rest is for a mount that is aligned badly [degrees]. */
const uncoverWithinDegrees = 5;

/** The steps of a run, one after the other; those that have ended are in the facts. */
export class RunSteps {
  /** Flats of earlier runs that may serve. */
  keptFlats: readonly FlatInUse[] = [];
  readonly #agenda: StepList;
  readonly #threads: Threads;
  /** Aborted when a step is given up that did not settle. */
  readonly #abandoned = new AbortController();

  constructor(
    readonly options: RunOptions,
    readonly facts: RunFacts,
  ) {
    this.#agenda = new StepList(options.plan.steps);
    this.#threads = new Threads((why) => {
      facts.journal.note("computing without a second thread", { why });
      options.warn(`Computing on one thread, which is slower and gives the same result: ${why}`);
    });
  }

  get noneLeft(): boolean {
    return this.facts.steps.length >= this.#agenda.entries.length;
  }

  /** What the run knows of the step that is under way or comes next. */
  get row(): StepRow {
    return rowOf(this.options.table, this.#agenda.at(this.facts.steps.length).step);
  }

  /** As they are now, with those that were put in. */
  get scene(): PlanScene {
    const { plan, rigFile } = this.options;
    const steps = this.#agenda.entries.map(({ step }) => step);
    return { plan: { ...plan, steps }, rigFile, findings: this.facts.findings };
  }

  async runNext(onRig: OnRig, signal: AbortSignal): Promise<void> {
    const stepIndex = this.facts.steps.length;
    const entry = this.#agenda.at(stepIndex);
    const { step, sun } = this.row;
    this.facts.beginStep(entry, sun !== "none");
    let outcome: StepOutcome<unknown>;
    try {
      outcome = await step(
        { bench: this.#bench(stepIndex, onRig), request: this.#request(stepIndex) as never },
        signal,
      );
    } catch (error) {
      outcome = { ended: "failed", failure: error instanceof Error ? error : new Error(String(error)) };
    }
    if (this.#abandoned.signal.aborted) return; // and written down as such
    this.facts.endStep(entry, outcome);
    if (!outcome.asks) return;
    const steps = this.#agenda.insertNewFlat(stepIndex, outcome.asks);
    this.facts.journal.noteSurely("steps put in", { steps, because: outcome.asks.because });
  }

  /** The step under way did not settle in its grace time. */
  abandon(): void {
    const { stepUnderWay, steps } = this.facts;
    if (stepUnderWay === undefined) return;
    const failure = new StepAbandonedError(stepUnderWay);
    this.#abandoned.abort(failure);
    this.facts.endStep(this.#agenda.at(steps.length), { ended: "stopped", failure });
  }

  #bench(stepIndex: number, { rig, whyKeepCovered }: OnRig): Workbench {
    const { plan, rigFile, clock, random, log, folder, fileNote, progress } = this.options;
    const { findings, front, train, journal } = this.facts;
    const beganUtcMs = clock.nowMs();
    return {
      rig,
      front,
      noteUnsafe: (failure) => this.facts.noteUnsafe(failure),
      whyKeepCovered,
      uncoverWithinDegrees,
      clock,
      random: random.fork(`step ${stepIndex}`),
      threads: this.#threads,
      log,
      optics: rigFile.optics,
      site: rigFile.site,
      folder,
      findings,
      ...given({ fileNote, train, plannedGain: plan.camera?.gain }),
      keptFlats: this.keptFlats,
      trackingLapses: () => trackingLapses(this.facts.lapses, { fromUtcMs: beganUtcMs }),
      abandoned: this.#abandoned.signal,
      progress: (now) => progress({ ...now, stepIndex, stepCount: this.#agenda.entries.length }),
      note: (event, fields) => journal.note(event, { stepIndex, ...fields }),
    };
  }

  #request(stepIndex: number): unknown {
    const { step, resumeWith } = this.#agenda.at(stepIndex);
    const request = this.row.request(step, {
      ...this.scene,
      stepIndex,
      utcMs: this.options.clock.nowMs(),
      whyNoNewFlat: (newFlatsMost) => this.#whyNoNewFlat(stepIndex, newFlatsMost),
    });
    return resumeWith === undefined ? request : { ...(request as object), resumeWith };
  }

  #whyNoNewFlat(stepIndex: number, newFlatsMost: number): string | undefined {
    return newFlatRefusal({
      table: this.options.table,
      scene: this.scene,
      agenda: this.#agenda.entries,
      stepIndex,
      newFlatsMost,
      startedUtcMs: this.facts.setting.startedUtcMs,
      nowUtcMs: this.options.clock.nowMs(),
    });
  }
}
