import { basename, join } from "node:path";
import { writeWholeFile } from "../../../drivers/formats/whole-file.ts";
import { devicesOf } from "../../../drivers/roles/rig.ts";
import type { Findings, FlatInUse } from "../../procedures/findings.ts";
import type { StepOutcome, TrainSeen, Workbench } from "../../procedures/step.ts";
import { Threads } from "../../threads/threads.ts";
import { checkPlan } from "../checks/check-plan.ts";
import { checkRig } from "../checks/check-rig.ts";
import { sunAltitudeLimit } from "../checks/sun-altitude-limit.ts";
import { followSun, openUp } from "../guard/dome-slit.ts";
import { keepWatch } from "../guard/guard.ts";
import { guardWatches } from "../guard/guard-watches.ts";
import { retreat } from "../guard/retreat.ts";
import { takeBaseline } from "../ledger/baseline.ts";
import { addMaster, findingsFromHistory, keepFindings, keptFlats } from "../ledger/history.ts";
import { trainFacts, trainMark, trainSeen } from "../ledger/train-mark.ts";
import { composeRecord, reportOf } from "../record/compose-record.ts";
import { mastersMade } from "../record/masters-made.ts";
import { RunBook } from "../record/run-book.ts";
import type { DeviceRecord, RunReport } from "../record/run-record.ts";
import { NotRecoveredError, type RestoreRunAsk, recoverRig, restoreRun } from "../restoring/recover.ts";
import { Agenda } from "./agenda.ts";
import { whyNoNewFlat } from "./new-flat.ts";
import type { RunHands } from "./run-hands.ts";
import type { ConnectedRig, RunOptions } from "./run-options.ts";
import { entryOf, type PlanScene } from "./step-entry.ts";

/** What the run machine decides, done on a rig. One object is one run. */
export class RigRun implements RunHands {
  readonly #options: RunOptions;
  readonly #book: RunBook;
  readonly #threads = new Threads((why) => this.#book.note("computing without a second thread", { why }));
  readonly #runId: string;
  readonly #startedUtcMs: number;
  /** One object for the whole run: history is read into it, steps add to it, the guard looks at it. */
  readonly #findings: Findings = { lightRate: {} };
  #connected: ConnectedRig | undefined;
  #devices: readonly DeviceRecord[] = [];
  #train: TrainSeen | undefined;
  #keptFlats: readonly FlatInUse[] = [];
  /** The plan's steps, and those that were put in between them. */
  readonly #agenda: Agenda;
  #open = false;
  #weatherLost: string | undefined;
  #files: readonly string[] = [];

  constructor(options: RunOptions) {
    this.#options = options;
    this.#agenda = new Agenda(options.plan.steps);
    this.#startedUtcMs = options.clock.nowMs();
    this.#runId = options.ledger.beginRun({
      rig: options.rigFile.rig,
      plan: options.plan.plan,
      folder: options.folder,
      startedUtcMs: this.#startedUtcMs,
    });
    this.#book = new RunBook(options.folder, options.clock, options.log);
    this.#book.noteSurely("run begins", {
      run: this.#runId,
      plan: options.plan.plan,
      rig: options.rigFile.rig,
    });
  }

  get stepCount(): number {
    return this.#agenda.entries.length;
  }

  kindOf(stepIndex: number): string {
    return this.#agenda.at(stepIndex).step.step;
  }

  onFailure(stepIndex: number): "stop" | "continue" {
    return this.#agenda.at(stepIndex).step.onFailure;
  }

  hasUnfinished(): boolean {
    return this.#earlierUnfinished();
  }

  async checkPlan(): Promise<void> {
    const { plan, rigFile, table, clock, unattended, freeDiskMegabytes } = this.#options;
    const scene = { plan, rigFile, findings: this.#findings };
    checkPlan({ table, scene, nowUtcMs: clock.nowMs(), unattended, freeDiskMegabytes });
  }

  async connect(signal: AbortSignal): Promise<void> {
    const { ledger, connect } = this.#options;
    this.#connected = await connect(signal, (role, device, connected) => {
      // While an earlier run is unfinished, what is found is its doing; only after it is put back this run's turn comes.
      if (!this.#earlierUnfinished()) ledger.noteFound(this.#runId, { role, device }, connected);
    });
  }

  #earlierUnfinished(): boolean {
    const { ledger, rigFile } = this.#options;
    return ledger.unfinishedRuns(rigFile.rig).some((row) => row.runId !== this.#runId);
  }

  async recover(signal: AbortSignal): Promise<void> {
    if (!this.hasUnfinished()) return;
    this.#book.noteSurely("putting back what an earlier run left");
    const earlier = await recoverRig(this.#restoreAsk);
    for (const { runId, settings } of earlier) {
      const left = settings.filter((setting) => setting.state === "different");
      if (left.length > 0) throw new NotRecoveredError(runId, left);
      this.#book.noteSurely("an earlier run is put back", { earlier: runId, settings: settings.length });
    }
    if (this.#book.refused) return;
    // Devices that had been found disconnected are so again: this run connects them for itself.
    await this.close();
    await this.connect(signal);
  }

  async checkRig(signal: AbortSignal): Promise<void> {
    const { rigFile, plan, clock } = this.#options;
    this.#devices = devicesOf(this.#rig).map((device) => ({
      role: device.role,
      name: device.name,
      abilities: device.describe(), // now, because a device that is gone again can tell nothing
    }));
    const note = (event: string, fields?: Readonly<Record<string, unknown>>) =>
      this.#book.note(event, fields);
    await checkRig({ rig: this.#rig, rigFile, plan, clock, signal, watches: this.#watches(), note });
  }

  async takeBaseline(signal: AbortSignal): Promise<void> {
    const { ledger, rigFile } = this.#options;
    const seen = await trainSeen(this.#rig, signal);
    const baseline = await takeBaseline(this.#rig, ledger, this.#runId, signal);
    this.#book.begun = true;
    const mark = trainMark(trainFacts(this.#rig, rigFile, baseline));
    const key = { rig: rigFile.rig, trainMark: mark };
    this.#train = { mark, ...seen };
    this.#keptFlats = keptFlats(ledger, key);
    Object.assign(this.#findings, findingsFromHistory(ledger, key));
    this.#book.noteSurely("baseline is on disk", { settings: baseline.length, trainMark: mark });
  }

  stepInput(stepIndex: number): { bench: Workbench; ask: unknown } {
    const { rigFile, table, clock, random, log, folder, progress } = this.#options;
    const { step, goesOn } = this.#agenda.at(stepIndex);
    const bench: Workbench = {
      rig: this.#rig,
      clock,
      random: random.fork(`step ${stepIndex}`),
      log,
      threads: this.#threads,
      optics: rigFile.optics,
      site: rigFile.site,
      folder,
      findings: this.#findings,
      ...(this.#train ? { train: this.#train } : {}),
      keptFlats: this.#keptFlats,
      progress: (now) => progress({ ...now, stepIndex, stepCount: this.stepCount }),
      note: (event, fields) => this.#book.note(event, { stepIndex, ...fields }),
    };
    const ask = entryOf(table, step).ask(step, {
      ...this.#scene,
      stepIndex,
      whyNoNewFlat: (newFlatsMost) => this.#whyNoNewFlat(stepIndex, newFlatsMost),
    });
    return { bench, ask: goesOn === undefined ? ask : { ...(ask as object), goesOn } };
  }

  get #scene(): PlanScene {
    const { plan, rigFile } = this.#options;
    const steps = this.#agenda.entries.map(({ step }) => step);
    return { plan: { ...plan, steps }, rigFile, findings: this.#findings };
  }

  #whyNoNewFlat(stepIndex: number, newFlatsMost: number): string | undefined {
    const { table, clock } = this.#options;
    return whyNoNewFlat({
      table,
      scene: this.#scene,
      agenda: this.#agenda.entries,
      stepIndex,
      newFlatsMost,
      startedUtcMs: this.#startedUtcMs,
      nowUtcMs: clock.nowMs(),
    });
  }

  async openUp(signal: AbortSignal): Promise<void> {
    await openUp(this.#slit, signal);
    this.#open = true;
  }

  async watch(onLost: (reason: string) => void, signal: AbortSignal): Promise<void> {
    const guard = keepWatch(this.#watches(), { clock: this.#options.clock, signal }, (reason, watch) => {
      if (watch.ofWeather) this.#weatherLost ??= reason;
      onLost(reason);
    });
    await Promise.all([guard, followSun({ ...this.#slit, isOpen: () => this.#open }, signal)]);
  }

  get #slit() {
    const { rigFile, clock, log } = this.#options;
    return { rig: this.#rig, site: rigFile.site, clock, log };
  }

  async retreat(): Promise<void> {
    const { clock, log, rigFile } = this.#options;
    this.#book.noteSurely("retreating");
    const failed = await retreat(this.#rig, rigFile.site, {
      clock,
      log,
      signal: new AbortController().signal,
    });
    this.#book.noteSurely("retreated", failed.length > 0 ? { failed } : {});
  }

  async restore(): Promise<void> {
    this.#book.noteSurely("restoring");
    const settings = await restoreRun(this.#restoreAsk, this.#runId);
    this.#book.settings = settings;
    this.#book.restored = true;
    const left = settings.filter((setting) => setting.state !== "same");
    this.#book.noteSurely("restored", { settings: settings.length, ...(left.length > 0 ? { left } : {}) });
  }

  async restoreIfBegun(): Promise<void> {
    if (this.#book.begun) await this.restore();
  }

  async close(): Promise<void> {
    await this.#connected?.[Symbol.asyncDispose]();
  }

  async report(): Promise<void> {
    this.#writeRecord(); // first without the report: should anything here fail, the numbers are there
    this.#keepForLater();
    this.#files = await this.#options.clock.hold(this.#options.writeOutputs(this.outcome().record));
    this.#writeRecord();
  }

  /** What the next run of this rig, assembled like this, starts from. */
  #keepForLater(): void {
    const { ledger, clock, rigFile, folder } = this.#options;
    if (this.#train === undefined) return;
    const key = { rig: rigFile.rig, trainMark: this.#train.mark, runId: this.#runId };
    keepFindings(ledger, { ...key, sinceUtcMs: this.#startedUtcMs }, this.#findings, clock.nowMs());
    for (const master of mastersMade(this.#book.steps, this.#runId, folder)) addMaster(ledger, key, master);
  }

  stepBegins(stepIndex: number): void {
    this.#book.stepBegins(stepIndex, this.#agenda.at(stepIndex));
  }

  stepEnded(stepIndex: number, outcome: StepOutcome<unknown>): void {
    this.#book.stepEnded(stepIndex, this.#agenda.at(stepIndex), outcome);
    if (!outcome.asks) return;
    const steps = this.#agenda.putInNewFlat(stepIndex, outcome.asks);
    this.#book.noteSurely("steps put in", { steps, because: outcome.asks.because });
  }

  stepAbandoned(stepIndex: number): void {
    const step = this.#book.stepUnderWay;
    if (step) this.stepEnded(stepIndex, { ended: "stopped", failure: new StepAbandonedError(step.step) });
  }

  skyLost(reasons: readonly string[]): void {
    this.#book.skyLost(reasons);
  }

  stopAsked(): void {
    this.#book.stopAsked();
  }

  failed(error: unknown): void {
    this.#book.fail(error);
  }

  /** How it ended, as far as it is known now. */
  outcome(): RunReport {
    const { options, book } = { options: this.#options, book: this.#book };
    const record = composeRecord({
      options,
      book,
      facts: book.facts,
      runId: this.#runId,
      startedUtcMs: this.#startedUtcMs,
      devices: this.#devices,
      findings: this.#findings,
      trainMark: this.#train?.mark,
      files: this.#files,
    });
    return reportOf(record, options.folder);
  }

  /** Files how the run ended; nothing is written to its folder after this. */
  finish(): RunReport {
    const report = this.outcome();
    this.#options.ledger.endRun(this.#runId, report);
    if (!this.#book.begun) this.#options.ledger.closeRun(this.#runId);
    this.#book.noteSurely("run ended", {
      ended: report.ended,
      verdict: report.verdict,
      exitCode: report.exitCode,
    });
    this.#book[Symbol.dispose]();
    return report;
  }

  get #rig() {
    if (!this.#connected) throw new Error("the rig is not connected");
    return this.#connected.rig;
  }

  get #restoreAsk(): RestoreRunAsk {
    const { ledger, clock, log, rigFile } = this.#options;
    const { retreatedBecause } = this.#book;
    return { rig: this.#rig, rigFile, ledger, clock, log, retreatedBecause, weatherLost: this.#weatherLost };
  }

  #watches() {
    const { rigFile, clock, plan, freeDiskMegabytes } = this.#options;
    return guardWatches({
      rig: this.#rig,
      rigFile,
      clock,
      sunAltitudeDegreesMin: sunAltitudeLimit({ plan, rigFile }),
      freeDiskMegabytes,
      findings: this.#findings,
      looking: () => this.#book.looking || plan.steps[0]?.step !== "wait",
      searching: () => [undefined, "centre"].includes(this.#book.stepUnderWay?.step),
    });
  }

  #writeRecord(): void {
    const path = join(this.#options.folder, "run.json");
    const text = JSON.stringify(
      { folder: basename(this.#options.folder), ...this.outcome().record },
      null,
      2,
    );
    writeWholeFile(path, new TextEncoder().encode(`${text}\n`), { replace: true });
  }
}

/** A step that was asked to stop and did not settle. */
class StepAbandonedError extends Error {
  readonly code = "STEP_ABANDONED";
  readonly whatToDo = "Look at the last lines of `events.ndjson` for the device that did not answer.";
  constructor(step: string) {
    super(`the step ${step} did not stop in time and was given up; the rig was made safe without it`);
    this.name = "StepAbandonedError";
  }
}
