import { basename, join } from "node:path";
import { writeWholeFile } from "../../../drivers/formats/whole-file.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { devicesOf, type Rig } from "../../../drivers/roles/rig.ts";
import type { Findings, FlatInUse } from "../../procedures/findings.ts";
import type { StepOutcome, TrainSeen, Workbench } from "../../procedures/step.ts";
import { Threads } from "../../threads/threads.ts";
import { checkPlan } from "../checks/check-plan.ts";
import { checkRig } from "../checks/check-rig.ts";
import type { ConnectedRig } from "../checks/connect-rig-file.ts";
import { followSun, openUp } from "../guard/dome-slit.ts";
import { keepWatch } from "../guard/guard.ts";
import { guardWatches } from "../guard/guard-watches.ts";
import { takeBaseline } from "../ledger/baseline.ts";
import { addMaster, findingsFromHistory, keepFindings, keptFlats } from "../ledger/history.ts";
import { mastersMade } from "../ledger/masters-made.ts";
import { trainFacts, trainMark, trainSeen } from "../ledger/train-mark.ts";
import { composeRecord, type RunSetting, reportOf } from "../record/compose-record.ts";
import { Journal } from "../record/journal.ts";
import { NotRecoveredError, StepAbandonedError } from "../record/run-errors.ts";
import { RunFacts } from "../record/run-facts.ts";
import type { RunReport } from "../record/run-record.ts";
import { type RestoreRunAsk, recoverRig, restoreRun } from "../restoring/recover.ts";
import { retreat } from "../restoring/retreat.ts";
import { Agenda } from "../steps/agenda.ts";
import { whyNoNewFlat } from "../steps/new-flat.ts";
import { type PlanScene, rowOf } from "../steps/step-row.ts";
import { sunAltitudeLimit } from "../steps/sun-altitude-limit.ts";
import type { RunOptions } from "./run-options.ts";

/** What the run machine decides, done on a rig; what comes of it goes into `facts`. One object is one run. */
export class RunEffects {
  readonly facts: RunFacts;
  readonly #options: RunOptions;
  readonly #setting: RunSetting;
  /** One object for the whole run: history is read into it, steps add to it, the guard looks at it. */
  readonly #findings: Findings = { lightRate: {} };
  readonly #agenda: Agenda;
  readonly #threads = new Threads((why) => this.#note("computing without a second thread", { why }));
  /** Aborted when a step is given up that did not settle. */
  readonly #abandoned = new AbortController();
  #connected: ConnectedRig | undefined;
  #train: TrainSeen | undefined;
  #keptFlats: readonly FlatInUse[] = [];

  constructor(options: RunOptions) {
    const { plan, rigFile, unattended, clock, folder } = options;
    const startedUtcMs = clock.nowMs();
    const runId = options.ledger.beginRun({ rig: rigFile.rig, plan: plan.plan, folder, startedUtcMs });
    this.#options = options;
    this.#setting = { runId, startedUtcMs, plan, rigFile, unattended };
    this.#agenda = new Agenda(plan.steps);
    this.facts = new RunFacts(new Journal(folder, clock, options.log));
    this.#note("run begins", { run: runId, plan: plan.plan, rig: rigFile.rig });
  }

  get noStepLeft(): boolean {
    return this.facts.steps.length >= this.#agenda.entries.length;
  }

  /** The dome has to be open for the step that comes next. */
  get mustOpenUp(): boolean {
    return !this.facts.openedUp && this.#row.sun !== "none";
  }

  /** An earlier run of this rig was cut short. */
  hasUnfinished(): boolean {
    const { ledger, rigFile } = this.#options;
    return ledger.unfinishedRuns(rigFile.rig).some((row) => row.runId !== this.#setting.runId);
  }

  async checkPlan(): Promise<void> {
    const { table, clock, unattended, freeDiskMegabytes } = this.#options;
    checkPlan({ table, scene: this.#scene, nowUtcMs: clock.nowMs(), unattended, freeDiskMegabytes });
  }

  async connect(signal: AbortSignal): Promise<void> {
    const { ledger, connect } = this.#options;
    this.#connected = await connect(signal, (role, device, connected) => {
      // While an earlier run is unfinished, what is found is its doing; only after it is put back this run's turn comes.
      if (!this.hasUnfinished()) ledger.noteFound(this.#setting.runId, { role, device }, connected);
    });
  }

  /** Puts back what earlier runs left, whatever the signal says; it only keeps this run from connecting then. @throws NotRecoveredError */
  async recover(signal: AbortSignal): Promise<void> {
    if (!this.hasUnfinished()) return;
    this.#note("putting back what an earlier run left");
    for (const { runId, settings } of await recoverRig(this.#restoreAsk)) {
      const left = settings.filter((setting) => setting.state === "different");
      if (left.length > 0) throw new NotRecoveredError(runId, left);
      this.#note("an earlier run is put back", { earlier: runId, settings: settings.length });
    }
    if (this.facts.mustEnd) return;
    // Devices that had been found disconnected are so again: this run connects them for itself.
    await this.close();
    await this.connect(signal);
  }

  async checkRig(signal: AbortSignal): Promise<void> {
    const { rigFile, plan, clock } = this.#options;
    this.facts.devices = devicesOf(this.#rig).map((device) => ({
      role: device.role,
      name: device.name,
      abilities: device.describe(), // now, because a device that is gone again can tell nothing
    }));
    const note = this.facts.journal.note.bind(this.facts.journal);
    await checkRig({ rig: this.#rig, rigFile, plan, clock, signal, watches: this.#watches(), note });
  }

  async takeBaseline(signal: AbortSignal): Promise<void> {
    const { ledger, rigFile } = this.#options;
    const seen = await trainSeen(this.#rig, signal);
    const baseline = await takeBaseline(this.#rig, ledger, this.#setting.runId, signal);
    this.facts.begun = true;
    const mark = trainMark(trainFacts(this.#rig, rigFile, baseline));
    const key = { rig: rigFile.rig, trainMark: mark };
    this.facts.trainMark = mark;
    this.#train = { mark, ...seen };
    this.#keptFlats = keptFlats(ledger, key);
    Object.assign(this.#findings, findingsFromHistory(ledger, key));
    this.#note("baseline is on disk", { settings: baseline.length, trainMark: mark });
  }

  /** The dome, before the first step that needs the Sun. */
  async openUp(signal: AbortSignal): Promise<void> {
    await openUp(this.#slit, signal);
    this.facts.openedUp = true;
  }

  async runStep(signal: AbortSignal): Promise<void> {
    const stepIndex = this.facts.steps.length;
    const entry = this.#agenda.at(stepIndex);
    const { step, sun } = this.#row;
    this.facts.beginStep(entry, sun !== "none");
    let outcome: StepOutcome<unknown>;
    try {
      outcome = await step({ bench: this.#bench(stepIndex), ask: this.#ask(stepIndex) as never }, signal);
    } catch (error) {
      outcome = { ended: "failed", failure: error instanceof Error ? error : new Error(String(error)) };
    }
    if (this.#abandoned.signal.aborted) return; // and written down as such
    this.facts.endStep(entry, outcome);
    if (!outcome.asks) return;
    const steps = this.#agenda.putInNewFlat(stepIndex, outcome.asks);
    this.#note("steps put in", { steps, because: outcome.asks.because });
  }

  /** The step under way did not settle in its grace time. */
  abandonStep(): void {
    const { stepUnderWay, steps } = this.facts;
    if (stepUnderWay === undefined) return;
    const failure = new StepAbandonedError(stepUnderWay);
    this.#abandoned.abort(failure);
    this.facts.endStep(this.#agenda.at(steps.length), { ended: "stopped", failure });
  }

  /** Watches over the run's conditions and keeps the dome's slit on the Sun, until the signal aborts. */
  async watch(onLost: (reason: string, ofWeather: boolean) => void, signal: AbortSignal): Promise<void> {
    const guard = keepWatch(this.#watches(), { clock: this.#options.clock, signal }, (reason, watch) =>
      onLost(reason, watch.ofWeather === true),
    );
    await Promise.all([guard, followSun({ ...this.#slit, isOpen: () => this.facts.openedUp }, signal)]);
  }

  async retreat(): Promise<void> {
    const { clock, log, rigFile } = this.#options;
    this.#note("retreating");
    const failed = await retreat(this.#rig, rigFile.site, { clock, log, signal: neverAborted });
    this.#note("retreated", failed.length > 0 ? { failed } : {});
  }

  async restore(): Promise<void> {
    if (!this.facts.begun) return;
    this.#note("restoring");
    const settings = await restoreRun(this.#restoreAsk, this.#setting.runId);
    this.facts.settings = settings;
    const left = settings.filter((setting) => setting.state !== "same");
    this.#note("restored", { settings: settings.length, ...(left.length > 0 ? { left } : {}) });
  }

  async close(): Promise<void> {
    await this.#connected?.[Symbol.asyncDispose]();
  }

  async report(): Promise<void> {
    this.#writeRecord(); // first without the report: should anything here fail, the numbers are there
    this.#keepForLater();
    const { clock, writeOutputs } = this.#options;
    this.facts.files = await clock.hold(writeOutputs(this.#report.record));
    this.#writeRecord();
  }

  /** Files how the run ended; nothing is written to its folder after this. */
  finish(): RunReport {
    const report = this.#report;
    const { ended, verdict, exitCode } = report;
    this.#options.ledger.endRun(this.#setting.runId, report);
    if (!this.facts.begun) this.#options.ledger.closeRun(this.#setting.runId);
    this.#note("run ended", { ended, verdict, exitCode });
    this.facts.journal[Symbol.dispose]();
    return report;
  }

  /** What the next run of this rig, assembled like this, starts from. */
  #keepForLater(): void {
    const { ledger, clock, rigFile, folder } = this.#options;
    const { runId, startedUtcMs } = this.#setting;
    if (this.#train === undefined) return;
    const key = { rig: rigFile.rig, trainMark: this.#train.mark, runId };
    keepFindings(ledger, { ...key, sinceUtcMs: startedUtcMs }, this.#findings, clock.nowMs());
    for (const master of mastersMade(this.facts.steps, runId, folder)) addMaster(ledger, key, master);
  }

  #writeRecord(): void {
    const { folder } = this.#options;
    const text = JSON.stringify({ folder: basename(folder), ...this.#report.record }, null, 2);
    writeWholeFile(join(folder, "run.json"), new TextEncoder().encode(`${text}\n`), { replace: true });
  }

  /** How it ended, as far as it is known now. */
  get #report(): RunReport {
    return reportOf(composeRecord(this.#setting, this.facts, this.#findings), this.#options.folder);
  }

  #bench(stepIndex: number): Workbench {
    const { rigFile, clock, random, log, folder, progress } = this.#options;
    return {
      rig: this.#rig,
      clock,
      random: random.fork(`step ${stepIndex}`),
      threads: this.#threads,
      log,
      optics: rigFile.optics,
      site: rigFile.site,
      folder,
      findings: this.#findings,
      ...(this.#train ? { train: this.#train } : {}),
      keptFlats: this.#keptFlats,
      abandoned: this.#abandoned.signal,
      progress: (now) => progress({ ...now, stepIndex, stepCount: this.#agenda.entries.length }),
      note: (event, fields) => this.facts.journal.note(event, { stepIndex, ...fields }),
    };
  }

  #ask(stepIndex: number): unknown {
    const { table, clock } = this.#options;
    const { step, goesOn } = this.#agenda.at(stepIndex);
    const ask = this.#row.ask(step, {
      ...this.#scene,
      stepIndex,
      utcMs: clock.nowMs(),
      whyNoNewFlat: (newFlatsMost) =>
        whyNoNewFlat({
          table,
          scene: this.#scene,
          agenda: this.#agenda.entries,
          stepIndex,
          newFlatsMost,
          startedUtcMs: this.#setting.startedUtcMs,
          nowUtcMs: clock.nowMs(),
        }),
    });
    return goesOn === undefined ? ask : { ...(ask as object), goesOn };
  }

  /** Of the step that is under way or comes next. */
  get #row() {
    return rowOf(this.#options.table, this.#agenda.at(this.facts.steps.length).step);
  }

  get #scene(): PlanScene {
    const { plan, rigFile } = this.#options;
    const steps = this.#agenda.entries.map(({ step }) => step);
    return { plan: { ...plan, steps }, rigFile, findings: this.#findings };
  }

  get #rig(): Rig {
    if (!this.#connected) throw new Error("the rig is not connected");
    return this.#connected.rig;
  }

  get #slit() {
    const { rigFile, clock, log } = this.#options;
    return { rig: this.#rig, site: rigFile.site, clock, log };
  }

  get #restoreAsk(): RestoreRunAsk {
    const { ledger, clock, log, rigFile } = this.#options;
    const { retreatedBecause, weatherLost } = this.facts;
    return { rig: this.#rig, rigFile, ledger, clock, log, retreatedBecause, weatherLost };
  }

  #watches() {
    const { rigFile, clock, plan, table, freeDiskMegabytes } = this.#options;
    const sunOf = (step: (typeof plan.steps)[number] | undefined) => step && rowOf(table, step).sun;
    return guardWatches({
      rig: this.#rig,
      rigFile,
      clock,
      sunAltitudeDegreesMin: sunAltitudeLimit({ plan, rigFile }),
      freeDiskMegabytes,
      findings: this.#findings,
      looking: () => this.facts.looking || sunOf(plan.steps[0]) !== "none",
      searching: () => {
        const { stepUnderWay } = this.facts;
        return stepUnderWay === undefined || table[stepUnderWay].sun === "searched";
      },
    });
  }

  #note(event: string, fields?: Readonly<Record<string, unknown>>): void {
    this.facts.journal.noteSurely(event, fields);
  }
}
