import { dirname, resolve } from "node:path";
import { given } from "../../../drivers/kit/given.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { devicesOf, type Rig } from "../../../drivers/roles/rig.ts";
import { checkPlan } from "../checks/check-plan.ts";
import { checkRig } from "../checks/check-rig.ts";
import type { ConnectedRig } from "../checks/connect-rig-file.ts";
import { clockWatch } from "../guard/clock-watch.ts";
import { followSunWithDome, openDome } from "../guard/dome-slit.ts";
import { type GuardWatch, watchConditions } from "../guard/guard.ts";
import { guardWatches } from "../guard/guard-watches.ts";
import { takeBaseline } from "../ledger/baseline.ts";
import { listUsableFlats, readFindings } from "../ledger/history.ts";
import { findUnconfirmedTrip, recordRetreat } from "../ledger/retreats.ts";
import { readTrain, trainFacts, trainMark } from "../ledger/train-mark.ts";
import { Journal } from "../record/journal.ts";
import { NotRecoveredError } from "../record/run-errors.ts";
import { RunFacts } from "../record/run-facts.ts";
import type { RunReport } from "../record/run-record.ts";
import { type RestoreRunRequest, recoverUnfinishedRuns, restoreRun } from "../restoring/recover.ts";
import { retreatFromSun } from "../restoring/retreat.ts";
import { rowOf, sunAltitudeLimit } from "../steps/step-row.ts";
import { finishRun, writeResults } from "./end-run.ts";
import type { RunOptions } from "./run-options.ts";
import { RunSteps } from "./run-steps.ts";

/** What the run machine decides, done on a rig; what comes of it goes into `facts`. One object is one run. */
export class RunEffects {
  readonly facts: RunFacts;
  readonly steps: RunSteps;
  readonly #clockWatch: GuardWatch;
  #connected: ConnectedRig | undefined;

  constructor(readonly options: RunOptions) {
    const { plan, rigFile, unattended, clock, folder, ledger } = options;
    const startedUtcMs = clock.nowMs();
    this.#clockWatch = clockWatch(clock);
    const run = { rig: rigFile.rig, plan: plan.plan, folder: resolve(folder), startedUtcMs };
    const runId = ledger.beginRun(run);
    const setting = { runId, startedUtcMs, plan, rigFile, unattended, folder };
    this.facts = new RunFacts(setting, new Journal(folder, clock, options.log), (retreat) =>
      recordRetreat(options, retreat, folder),
    );
    this.steps = new RunSteps(options, this.facts);
    this.#note("run begins", { run: runId, plan: plan.plan, rig: rigFile.rig });
  }

  /** The dome has to be open for the step that comes next. */
  get mustOpenUp(): boolean {
    return !this.facts.openedUp && this.steps.row.sun !== "none";
  }

  /** An earlier run of this rig was cut short. */
  hasUnfinished(): boolean {
    const { ledger, rigFile } = this.options;
    return ledger.unfinishedRuns(rigFile.rig).some((row) => row.runId !== this.facts.setting.runId);
  }

  async checkPlan(): Promise<void> {
    const { table, clock, unattended, freeDiskMegabytes, rigFile, folder } = this.options;
    const { scene } = this.steps;
    const unconfirmedTrip = findUnconfirmedTrip(this.options, rigFile, dirname(resolve(folder)));
    checkPlan({ table, scene, nowUtcMs: clock.nowMs(), unattended, freeDiskMegabytes, unconfirmedTrip });
  }

  async connect(signal: AbortSignal): Promise<void> {
    const { ledger, connect } = this.options;
    this.#connected = await connect(signal, (role, device, connected) => {
      // While an earlier run is unfinished, what is found is its doing; only after it is put back this run's turn comes.
      if (!this.hasUnfinished()) ledger.noteFound(this.facts.setting.runId, { role, device }, connected);
    });
  }

  /**
   * Puts back what earlier runs left, to its end whatever the signal says; the signal only keeps this run from connecting.
   * @throws NotRecoveredError
   */
  async recover(signal: AbortSignal): Promise<void> {
    if (!this.hasUnfinished()) return;
    this.#note("putting back what an earlier run left");
    for (const { runId, settings } of await recoverUnfinishedRuns(this.#restoreRequest)) {
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
    const { rigFile, plan, clock } = this.options;
    const { facts } = this;
    facts.devices = devicesOf(this.#rig).map((device) => ({
      role: device.role,
      name: device.name,
      abilities: device.describe(), // now, because a device that is gone again can tell nothing
    }));
    const note = facts.journal.note.bind(facts.journal);
    await checkRig({ rig: this.#rig, rigFile, plan, clock, signal, watches: this.#watches(), note });
  }

  async takeBaseline(signal: AbortSignal): Promise<void> {
    const { ledger, rigFile } = this.options;
    const { facts } = this;
    const seen = await readTrain(this.#rig, signal);
    const baseline = await takeBaseline(this.#rig, ledger, facts.setting.runId, signal);
    facts.begun = true;
    const mark = trainMark(trainFacts(this.#rig, rigFile, baseline));
    const key = { rig: rigFile.rig, trainMark: mark };
    facts.train = { mark, ...seen };
    this.steps.keptFlats = listUsableFlats(ledger, key);
    Object.assign(facts.findings, readFindings(ledger, key));
    this.#note("baseline is on disk", { settings: baseline.length, trainMark: mark });
  }

  /** The dome, before the first step that needs the Sun. */
  async openUp(signal: AbortSignal): Promise<void> {
    await openDome(this.#slit, signal);
    this.facts.openedUp = true;
  }

  runStep(signal: AbortSignal): Promise<void> {
    return this.steps.runNext(this.#rig, signal);
  }

  /** Watches over the run's conditions and keeps the dome's slit on the Sun, until the signal aborts. */
  async watch(onLost: (reason: string, ofWeather: boolean) => void, signal: AbortSignal): Promise<void> {
    const guard = watchConditions(this.#watches(), { clock: this.options.clock, signal }, (reason, watch) =>
      onLost(reason, watch.ofWeather === true),
    );
    await Promise.all([
      guard,
      followSunWithDome({ ...this.#slit, isOpen: () => this.facts.openedUp }, signal),
    ]);
  }

  async retreat(): Promise<void> {
    const { clock, log, rigFile } = this.options;
    this.#note("retreating");
    const failed = await retreatFromSun(this.#rig, rigFile.site, { clock, log, signal: neverAborted });
    this.#note("retreated", failed.length > 0 ? { failed } : {});
  }

  async restore(): Promise<void> {
    if (!this.facts.begun) return;
    this.#note("restoring");
    const { runId } = this.facts.setting;
    const run = { runId, folder: this.options.folder };
    const settings = await restoreRun(this.#restoreRequest, run);
    this.facts.settings = settings;
    const left = settings.filter((setting) => setting.state !== "same");
    this.#note("restored", {
      settings: settings.length,
      ...given({ left: left.length > 0 ? left : undefined }),
    });
  }

  async close(): Promise<void> {
    await this.#connected?.[Symbol.asyncDispose]();
  }

  report(): Promise<void> {
    return writeResults(this.options, this.facts);
  }

  finish(): RunReport {
    return finishRun(this.options, this.facts);
  }

  get #rig(): Rig {
    if (!this.#connected) throw new Error("the rig is not connected");
    return this.#connected.rig;
  }

  get #slit() {
    const { rigFile, clock, log } = this.options;
    return { rig: this.#rig, site: rigFile.site, clock, log };
  }

  get #restoreRequest(): RestoreRunRequest {
    const { ledger, clock, log, rigFile } = this.options;
    const { retreats } = this.facts;
    return { rig: this.#rig, rigFile, ledger, clock, log, retreats };
  }

  #watches() {
    const { rigFile, clock, plan, table, freeDiskMegabytes } = this.options;
    const { facts } = this;
    const [firstStep] = plan.steps;
    const needsSunAtOnce = firstStep === undefined || rowOf(table, firstStep).sun !== "none";
    const ofRig = guardWatches({
      rig: this.#rig,
      rigFile,
      clock,
      sunAltitudeDegreesMin: sunAltitudeLimit({ plan, rigFile }),
      freeDiskMegabytes,
      findings: facts.findings,
      looking: () => facts.looking || needsSunAtOnce,
      searching: () => facts.stepUnderWay === undefined || table[facts.stepUnderWay].sun === "searched",
    });
    return [this.#clockWatch, ...ofRig];
  }

  #note(event: string, fields?: Readonly<Record<string, unknown>>): void {
    this.facts.journal.noteSurely(event, fields);
  }
}
