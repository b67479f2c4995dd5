import { dirname, resolve } from "node:path";
import { RigNotConnectedError } from "../../../drivers/connect.ts";
import { given } from "../../../drivers/kit/given.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { connectionKey } from "../../../drivers/roles/kept-settings.ts";
import { devicesOf, type Rig } from "../../../drivers/roles/rig.ts";
import type { RoleName } from "../../../drivers/roles/roles.ts";
import type { TrainSeen } from "../../procedures/step.ts";
import { makeSafe } from "../../safing/make-safe.ts";
import type { SafingTools } from "../../safing/safing-tools.ts";
import { checkPlan } from "../checks/check-plan.ts";
import { checkRig } from "../checks/check-rig.ts";
import type { ConnectedRig, RecordFound } from "../checks/connect-rig-file.ts";
import { clockWatch } from "../guard/clock-watch.ts";
import type { GuardWatch } from "../guard/condition.ts";
import { followSunWithDome, openDome } from "../guard/dome-slit.ts";
import { watchConditions } from "../guard/guard.ts";
import { guardWatches } from "../guard/guard-watches.ts";
import { awakeWatch, keeperWatches, whyNotKept } from "../guard/process-watches.ts";
import { whyKeepCovered } from "../guard/why-keep-covered.ts";
import { type BegunRun, readBaseline, saveBaseline } from "../ledger/baseline.ts";
import { listUsableFlats, readFindings } from "../ledger/history.ts";
import { isInMemory } from "../ledger/ledger-tables.ts";
import { findUnconfirmedTrip, lastFalseTripUtcMs, saveRetreats } from "../ledger/retreats.ts";
import { retreatLine, retreatsFileName } from "../ledger/retreats-file.ts";
import { rememberRunsFolder } from "../ledger/run-folders.ts";
import { readTrain, trainFacts, trainMark } from "../ledger/train-mark.ts";
import { findUnfinishedRuns, type RunRecords, type UnfinishedRun } from "../ledger/unfinished-runs.ts";
import { Journal } from "../record/journal.ts";
import { BaselineLostError, NotRecoveredError } from "../record/run-errors.ts";
import { RunFacts } from "../record/run-facts.ts";
import type { BaselineEntry, RetreatRecord, RunReport, SettingRecord } from "../record/run-record.ts";
import {
  purposeOfRestoring,
  type RestoreRunRequest,
  recoverUnfinishedRuns,
  restoreRun,
} from "../restoring/recover.ts";
import { settingRecord } from "../restoring/restore-setting.ts";
import { plannedSetup } from "../steps/planned-setup.ts";
import { meridianPassage, plannedObserving } from "../steps/planned-time.ts";
import { rowOf, sunAltitudeLimit } from "../steps/step-row.ts";
import { finishRun, writeResults } from "./end-run.ts";
import type { RunOptions } from "./run-options.ts";
import { RunSteps } from "./run-steps.ts";

/** What the run machine decides, done on a rig; what comes of it goes into `facts`. One object is one run. */
export class RunEffects {
  readonly facts: RunFacts;
  readonly steps: RunSteps;
  readonly #records: RunRecords;
  readonly #run: BegunRun;
  /** Earlier runs of this rig that were cut short, oldest first. */
  #unfinished: readonly UnfinishedRun[];
  #baseline: readonly BaselineEntry[] = [];
  /** Far too much light in an earlier run, after which nobody has confirmed the Sun filter. */
  #trip: RetreatRecord | undefined;
  readonly #clockWatch: GuardWatch;
  /** As this run found its devices. */
  #found: readonly BaselineEntry[] = [];
  #connected: ConnectedRig | undefined;
  #guardLookedSeconds: number | undefined;

  /** @throws LedgerError, or what the file system says, when the run can't even be written down */
  constructor(readonly options: RunOptions) {
    const { plan, rigFile, unattended, clock, folder, ledger, log } = options;
    const startedUtcMs = clock.nowMs();
    this.#clockWatch = clockWatch(clock);
    const run = { rig: rigFile.rig, plan: plan.plan, folder: resolve(folder), startedUtcMs };
    this.#records = { ledger, ledgerFile: ledger.file, runsFolders: [dirname(run.folder)] };
    const { runs, doubts } = findUnfinishedRuns(this.#records, rigFile.rig);
    this.#unfinished = runs;
    const journal = new Journal(folder, clock, log);
    const runId = ledger.beginRun(run);
    this.#run = { ...run, runId };
    rememberRunsFolder(ledger.file, run.folder, log);
    const setting = { runId, startedUtcMs, plan, rigFile, unattended, folder };
    this.facts = new RunFacts(setting, journal, (retreat) => {
      if (!isInMemory(ledger.file)) journal.appendSurely(retreatsFileName, retreatLine(retreat));
    });
    this.steps = new RunSteps(options, this.facts);
    this.#note("run begins", { run: runId, plan: plan.plan, rig: rigFile.rig });
    if (doubts.length > 0) this.#note("records of earlier runs are not whole", { doubts });
  }

  /** The dome has to be open for the step that comes next. */
  get mustOpenUp(): boolean {
    return !this.facts.openedUp && this.steps.row.sun !== "none";
  }

  /** The plan names settings that the camera has not yet. */
  get mustSetUpCamera(): boolean {
    return !this.facts.cameraSetUp && plannedSetup(this.options.plan) !== undefined;
  }

  /** An earlier run of this rig was cut short. */
  hasUnfinished(): boolean {
    return this.#unfinished.length > 0;
  }

  async checkPlan(): Promise<void> {
    const { table, clock, unattended, freeDiskMegabytes, rigFile } = this.options;
    const { scene } = this.steps;
    this.#trip = findUnconfirmedTrip(this.#records, rigFile);
    const unconfirmedTrip = this.#trip;
    const nowUtcMs = clock.nowMs();
    checkPlan({ table, scene, nowUtcMs, unattended, freeDiskMegabytes, unconfirmedTrip });
    const passage = meridianPassage(rigFile.site, plannedObserving(table, scene, nowUtcMs));
    if (passage !== undefined)
      this.#note(
        "the Sun passes the meridian within the plan; a slew that may flip the mount is made covered",
        {
          utc: new Date(passage).toISOString(),
        },
      );
  }

  async connect(signal: AbortSignal): Promise<void> {
    const { ledger, connect } = this.options;
    const found: BaselineEntry[] = [];
    this.#found = found;
    // While an earlier run is unfinished, what is found is its doing; only after it is put back this run's turn comes.
    const purpose = this.hasUnfinished() ? purposeOfRestoring(this.#unfinished) : "working";
    const onFound: RecordFound = (role, device, connected) => {
      if (purpose !== "working") return;
      found.push({ role, device, setting: { key: connectionKey, value: connected } });
      saveBaseline(ledger, this.#run, found);
    };
    try {
      this.#connected = await connect(signal, onFound, purpose);
    } catch (error) {
      if (error instanceof RigNotConnectedError) this.#recordLeftConnected(error.leftConnected);
      throw error;
    }
  }

  /**
   * Puts back what earlier runs left, to its end whatever the signal says; the signal only keeps this run from connecting.
   * @throws NotRecoveredError
   */
  async recover(signal: AbortSignal): Promise<void> {
    if (!this.hasUnfinished()) return;
    this.#note("putting back what an earlier run left");
    const restored = await recoverUnfinishedRuns(this.#restoreRequest, this.#unfinished);
    for (const { runId, folder, settings, baselineLost, unwritten } of restored) {
      const left = settings.filter((setting) => setting.state === "different");
      if (baselineLost) throw new BaselineLostError(runId, folder);
      if (left.length > 0) throw new NotRecoveredError(runId, left);
      this.#note("an earlier run is put back", { earlier: runId, settings: settings.length });
      this.facts.unwritten.push(...unwritten);
    }
    this.#unfinished = [];
    if (this.facts.mustEnd) return;
    // Devices that had been found disconnected are so again: this run connects them for itself.
    await this.#disconnect();
    await this.connect(signal);
  }

  async checkRig(signal: AbortSignal): Promise<void> {
    const { rigFile, plan, clock, unattended } = this.options;
    const { facts } = this;
    facts.devices = devicesOf(this.#rig).map((device) => ({
      role: device.role,
      name: device.name,
      abilities: device.describe(), // now, because a device that is gone again can tell nothing
    }));
    const note = facts.journal.note.bind(facts.journal);
    const about = { rigFile, plan, clock, unattended, note, warn: this.options.warn };
    await checkRig({ ...about, rig: this.#rig, signal, watches: this.#watches() });
  }

  async takeBaseline(signal: AbortSignal): Promise<void> {
    const { ledger } = this.options;
    const { facts } = this;
    const seen = await readTrain(this.#rig, signal);
    const baseline = await readBaseline(this.#rig, signal);
    signal.throwIfAborted();
    saveBaseline(ledger, this.#run, baseline);
    this.#baseline = baseline;
    this.#live.seal.open();
    facts.begun = true; // only from here on may a run change what is in it
    this.#note("baseline is on disk", { settings: baseline.length });
    if (!this.mustSetUpCamera) this.#recogniseTrain(baseline, seen);
    await this.#askKeepers();
  }

  /** What is known of the train as it stands now. */
  #recogniseTrain(settings: readonly BaselineEntry[], seen: Omit<TrainSeen, "mark">): void {
    const { ledger, rigFile } = this.options;
    const { facts } = this;
    const mark = trainMark(trainFacts(this.#rig, rigFile, settings));
    const key = { rig: rigFile.rig, trainMark: mark };
    facts.train = { mark, ...seen };
    this.steps.keptFlats = listUsableFlats(ledger, key);
    const falseTripUtcMs = lastFalseTripUtcMs(this.#records, rigFile);
    Object.assign(facts.findings, readFindings(ledger, key, falseTripUtcMs));
    this.#note("the optical train", { trainMark: mark });
  }

  /** The day's settings, before the first step; the guard is awake, for a cooler takes minutes. */
  async setUpCamera(signal: AbortSignal): Promise<void> {
    const setup = plannedSetup(this.options.plan);
    if (!setup) return;
    const { coolerCelsius } = setup;
    if (coolerCelsius !== undefined)
      this.options.warn(`The sensor is brought to ${coolerCelsius} °C, which may take some minutes.`);
    const inForce = await this.#rig.camera.configure(setup, signal);
    const lowest = this.#rig.camera.limits.gain?.min;
    if (setup.gain !== undefined && lowest !== undefined && setup.gain > lowest)
      this.options.warn(
        `Flats are taken at gain ${setup.gain}, as the plan names it; at the lowest, ${lowest}, a pixel holds more light.`,
      );
    this.#note("the camera is set as the plan names it", { ...inForce, ...given({ coolerCelsius }) });
    this.#recogniseTrain(await readBaseline(this.#rig, signal), await readTrain(this.#rig, signal));
    this.facts.cameraSetUp = true;
  }

  async #askKeepers(): Promise<void> {
    const { keepers } = this.options;
    await Promise.all(keepers.map((keeper) => keeper.begin()));
    const holding = keepers.filter((keeper) => keeper.whyNotAlive() === undefined).map(({ name }) => name);
    const notHolding = whyNotKept(keepers);
    this.#note("who makes the rig safe if this process can't", {
      holding,
      ...given({ notHolding: notHolding.length > 0 ? notHolding : undefined }),
    });
    if (holding.length > 0)
      this.options.warn(`Should this process end, the rig is made safe by ${holding.join(" and ")}.`);
  }

  /** The dome, before the first step that needs the Sun. */
  async openUp(signal: AbortSignal): Promise<void> {
    await openDome(this.#slit, signal);
    this.facts.openedUp = true;
  }

  runStep(signal: AbortSignal): Promise<void> {
    const whyKeepCovered = (limited: AbortSignal) => this.#whyKeepCovered(limited);
    return this.steps.runNext({ rig: this.#rig, whyKeepCovered }, signal);
  }

  /** Watches over the run's conditions and keeps the dome's slit on the Sun, until the signal aborts. */
  async watch(onLost: (reason: string, ofWeather: boolean) => void, signal: AbortSignal): Promise<void> {
    const { clock } = this.options;
    const looked = () => {
      this.#guardLookedSeconds = clock.monotonicSeconds();
    };
    looked();
    const guard = watchConditions(
      [...this.#watches(), awakeWatch(clock), ...keeperWatches(this.options.keepers)],
      { clock, signal },
      {
        looked,
        lost: (reason, watch) => onLost(reason, watch.ofWeather === true),
        lapse: (lapse) => this.facts.noteLapse(lapse),
      },
    );
    await Promise.all([
      guard,
      followSunWithDome({ ...this.#slit, isOpen: () => this.facts.openedUp }, signal),
    ]);
  }

  #whyKeepCovered(signal: AbortSignal): Promise<readonly string[]> {
    const { clock, rigFile, keepers } = this.options;
    const looked = this.#guardLookedSeconds;
    const guardSilentSeconds = looked === undefined ? undefined : clock.monotonicSeconds() - looked;
    const watches = this.#watches();
    const against = [...this.facts.retreats.map(({ reason }) => reason), ...whyNotKept(keepers)];
    return whyKeepCovered({
      rig: this.#rig,
      rigFile,
      clock,
      watches,
      guardSilentSeconds,
      against,
      signal,
    });
  }

  /** The cover is told to close before anything else is done or written; whether it does is the retreat's business. */
  coverAtOnce(): void {
    const { cover } = this.#rig;
    cover?.sendClose(neverAborted).catch((error: unknown) => {
      this.options.log.warn(
        { device: cover.name, error: String(error) },
        "the cover could not be told to close",
      );
    });
  }

  async retreat(): Promise<void> {
    this.#note("retreating");
    const goal = "covered and off the Sun";
    this.facts.safety = await makeSafe(this.#safing, { goal, signal: neverAborted, warn: this.#warn });
    this.#note("retreated", { ...this.facts.safety });
  }

  async restore(): Promise<void> {
    if (!this.facts.begun) return;
    this.#note("restoring");
    const { facts } = this;
    const retreats = [...facts.retreats, ...(this.#trip ? [this.#trip] : [])];
    const run = { ...this.#run, baseline: this.#baseline, retreats };
    const { ledger, log } = this.options;
    const { settings, safety, unwritten } = await restoreRun(this.#restoreRequest, run)
      .catch((error: unknown) => {
        // Whatever it was: of no setting is it known how it stands.
        const why = `restoring broke off: ${error instanceof Error ? error.message : String(error)}`;
        facts.settings = this.#baseline.map((entry) => settingRecord(entry, undefined, "different", why));
        throw error;
      })
      .finally(() => saveRetreats(ledger, facts.retreats, log));
    facts.settings = settings;
    facts.safety = safety;
    const { contradiction } = facts.front;
    if (contradiction !== undefined && !facts.unsafe) facts.loseSky(contradiction, false);
    facts.unwritten.push(...unwritten);
    const left = settings.filter((setting) => setting.state !== "same");
    this.#note("restored", {
      settings: settings.length,
      ...given({ left: left.length > 0 ? left : undefined }),
    });
  }

  async close(): Promise<void> {
    const how = this.#isLeftSafe ? "safe" : "not safe";
    await Promise.all(this.options.keepers.map((keeper) => keeper.release(how)));
    await this.#disconnect();
    this.#recordLeftConnected(this.#connected?.leftConnected() ?? []);
  }

  /** Before there is a baseline nothing else of the rig can have changed; after it, restoring tells of connections too. */
  #recordLeftConnected(roles: readonly RoleName[]): void {
    if (!this.facts.begun && this.#found.length > 0 && roles.length > 0)
      this.facts.settings = this.#found.map((entry) => leftAs(entry, roles));
  }

  async #disconnect(): Promise<void> {
    await this.#connected?.[Symbol.asyncDispose]();
  }

  get #isLeftSafe(): boolean {
    const { begun, settings, safety, retreats } = this.facts;
    if (!begun) return true;
    if (!settings || !safety) return false;
    const { cover, mount } = this.#rig;
    // A rig without a cover stands uncovered by its nature: nothing is to be done for it unless something was the matter.
    const needsNothing = !cover && (!mount || retreats.length === 0);
    return safety.covered.proved || safety.offSun || needsNothing;
  }

  report(): Promise<void> {
    return writeResults(this.options, this.facts);
  }

  finish(): RunReport {
    return finishRun(this.options, this.facts);
  }

  get #live(): ConnectedRig {
    if (!this.#connected) throw new Error("the rig is not connected");
    return this.#connected;
  }

  get #rig(): Rig {
    return this.#live.rig;
  }

  get #slit() {
    const { rigFile, clock, log } = this.options;
    return { rig: this.#rig, site: rigFile.site, clock, log };
  }

  get #restoreRequest(): RestoreRunRequest {
    const { clock, log, rigFile } = this.options;
    const { front, findings } = this.facts;
    const records = this.#records;
    return { rig: this.#rig, rigFile, records, clock, log, front, findings, warn: this.#warn };
  }

  get #safing(): SafingTools {
    const { clock, log, rigFile } = this.options;
    const { front, findings } = this.facts;
    return { rig: this.#rig, site: rigFile.site, clock, log, front, findings };
  }

  readonly #warn = (text: string) => {
    this.#note("not safe yet", { text });
    this.options.warn(text);
  };

  #watches() {
    const { rigFile, clock, plan, table, freeDiskMegabytes } = this.options;
    const { facts } = this;
    const { front } = facts;
    const [firstStep] = plan.steps;
    const needsSunAtOnce = firstStep === undefined || rowOf(table, firstStep).sun !== "none";
    const ofRig = guardWatches({
      rig: this.#rig,
      rigFile,
      clock,
      sunAltitudeDegreesMin: sunAltitudeLimit({ plan, rigFile }),
      freeDiskMegabytes,
      front,
      findings: facts.findings,
      looking: () => facts.looking || needsSunAtOnce,
      searchDegrees: Math.max(
        0,
        ...plan.steps.map((step) => (step.step === "centre" ? step.searchDegrees : 0)),
      ),
      searching: () => facts.stepUnderWay === undefined || table[facts.stepUnderWay].sun === "searched",
    });
    return [this.#clockWatch, ...ofRig];
  }

  #note(event: string, fields?: Readonly<Record<string, unknown>>): void {
    this.facts.journal.noteSurely(event, fields);
  }
}

/** A connection after a rig that did not connect was closed again. */
function leftAs(entry: BaselineEntry, leftConnected: readonly RoleName[]): SettingRecord {
  if (!leftConnected.includes(entry.role)) return settingRecord(entry, entry.setting.value, "same");
  return settingRecord(entry, undefined, "different", "the link was gone before it could be disconnected");
}
