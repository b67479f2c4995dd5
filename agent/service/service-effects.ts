import { RigNotConnectedError } from "../../drivers/connect.ts";
import { given } from "../../drivers/kit/given.ts";
import type { ScheduleEntry } from "../../plans/schedule-entries.ts";
import { type ConnectRig, connectRigFile } from "../run/checks/connect-rig-file.ts";
import { freeDiskMegabytes } from "../run/checks/free-disk.ts";
import { LedgerError } from "../run/ledger/ledger-error.ts";
import { makeRunFolder } from "../run/ledger/run-folders.ts";
import { findUnfinishedRuns, type RunRecords } from "../run/ledger/unfinished-runs.ts";
import { LockFolderError } from "../run/machine/host-lock.ts";
import { restoreRig } from "../run/machine/restore-rig.ts";
import { lockRig, RigBusyError } from "../run/machine/rig-lock.ts";
import { runPlan } from "../run/machine/run-plan.ts";
import { describeRun } from "../run/record/describe-run.ts";
import { describeLeft } from "../run/record/run-errors.ts";
import type { RecoveredRun } from "../run/restoring/recover.ts";
import { findPersonsHold, listPersonDeeds, savePersonDeed } from "./deeds/person-deeds.ts";
import { readTrainMark } from "./read-train-mark.ts";
import { ScheduleRecord } from "./record/attempt-rows.ts";
import { flatFactsOf } from "./record/flat-facts.ts";
import { lookAtRig, type RestRow } from "./rest/look-at-rig.ts";
import { RestWatch } from "./rest/rest-watch.ts";
import { type AgendaRow, composeAgenda, nextDeed } from "./schedule/agenda.ts";
import { type Attempt, type AttemptEnded, endingOf } from "./schedule/attempts.ts";
import { judgeConditions } from "./schedule/conditions.ts";
import type { ServiceInput, ServiceOptions } from "./service-options.ts";
import type { ServiceLook, ServiceStatus } from "./service-status.ts";
import { type Hold, holdAtRest, holdByPerson, whyHeld } from "./why-held.ts";

const dayMs = 86_400_000;
/** Of what was due longer ago nothing may begin any more: `lateMinutesMax` is a day at most. */
const backMs = 3 * dayMs;
const aheadMs = 1.5 * dayMs;
/** No wait is longer: files may have changed, and a computer may have slept or had its clock set [s]. */
const lookEverySeconds = 60;
/** The records of runs are read again after that [s]. */
const recordsEverySeconds = 900;
const tryAgainSeconds = 30;
/** A look at the rig must not delay what is due [s]. */
const restMarginSeconds = 180;
/** Between tries to put back what a device did not let put back [s]; after so many tries a person is needed. */
const restoreWaitsSeconds = [60, 600];
const restoreTriesMost = restoreWaitsSeconds.length + 1;

/** What the service machine decides, done. One object is one process of the service; what it must not forget is in the ledger. */
export class ServiceEffects {
  failure: Error | undefined;
  /** Runs that this process has begun. */
  runs = 0;
  #input!: ServiceInput;
  #stamp = "";
  #fileTrouble: string | undefined;
  #record!: ScheduleRecord;
  #next: AgendaRow | undefined;
  #held: Hold | undefined;
  #sinceUtcMs = 0;
  #lastStatus: ServiceStatus | undefined;
  #rest: readonly RestRow[] = [];
  readonly #restWatch: RestWatch;

  constructor(readonly options: ServiceOptions) {
    this.#restWatch = new RestWatch(options.clock);
  }

  get mustStop(): boolean {
    return this.options.signal.aborted;
  }

  get isHeld(): boolean {
    return this.#held !== undefined;
  }

  /** A run of this rig was cut short, and nobody has put it back. */
  get mustRecover(): boolean {
    return findUnfinishedRuns(this.#records, this.#rig).runs.length > 0;
  }

  noteFailure(error: unknown): void {
    if (!this.mustStop) this.failure ??= error instanceof Error ? error : new Error(String(error));
  }

  /** @throws what is wrong with the files, or with the ledger */
  async start(): Promise<void> {
    const { ledger, clock } = this.options;
    this.#status("starting", "the schedule and the records of earlier runs are read");
    this.#stamp = this.options.inputStamp();
    this.#input = this.options.readInput();
    this.#record = new ScheduleRecord(ledger, this.#rig);
    this.#endCutShort();
    this.#sinceUtcMs = this.#record.lookedUtcMs() ?? clock.nowMs();
    this.options.onReady?.(() => this.#look());
  }

  #look(): ServiceLook {
    const agenda = this.#agenda(this.options.clock.nowMs());
    return { site: this.#input.site, agenda, attempts: this.#attempts() };
  }

  /** What an earlier process had begun has ended with it, unless the run's own record says how. */
  #endCutShort(): void {
    const { ledger, clock } = this.options;
    const running = this.#attempts().find(({ endedUtcMs }) => endedUtcMs === undefined);
    if (!running) return;
    const row = ledger.runs(this.#rig).find(({ startedUtcMs }) => startedUtcMs >= running.begunUtcMs);
    const ended =
      row?.exitCode == null ? "cut-short" : endingOf(row.exitCode as Parameters<typeof endingOf>[0]);
    this.#record.endRunning({
      endedUtcMs: clock.nowMs(),
      ended,
      because: "the service ended before it could write down how",
      ...(row ? { runId: row.runId } : {}),
    });
  }

  /**
   * Puts back what was left, before anything else. Waits for servers and for whoever has the rig for as long as it takes; what a
   * device that answers does not let put back is tried a few times, by however many processes.
   */
  async recover(): Promise<void> {
    await this.#unlessLedgerFails(async () => {
      while (!this.mustStop) {
        this.#held = this.#whyHeld();
        const { runs } = findUnfinishedRuns(this.#records, this.#rig);
        if (this.#held || runs.length === 0) return;
        this.#status("recovering", `what the run ${runs.at(-1)!.runId} left is put back first`);
        const left = await this.#restoreOnce();
        if (left === undefined) continue;
        this.#held = this.#whyHeld(); // it may have been the last try
        if (this.#held || this.mustStop) return;
        const untilUtcMs = this.options.clock.nowMs() + left.againSeconds * 1000;
        const trouble = left.because;
        this.#status("recovering", `the rig can't be put back yet: ${trouble}`, { untilUtcMs, trouble });
        this.#leaveOut(`the rig could not be put back: ${left.because}`);
        await this.#sleep(left.againSeconds);
      }
    });
  }

  /** @returns what is left and when it is tried again; `undefined` when all is back */
  async #restoreOnce(): Promise<{ because: string; againSeconds: number } | undefined> {
    const { clock, log, signal } = this.options;
    const { rigFile } = this.#input;
    const connect: ConnectRig = (limited, _found, purpose) =>
      connectRigFile(rigFile, { ...this.#links, purpose }, limited);
    try {
      using lock = await this.#lock();
      void lock;
      const request = { rigFile, records: this.#records, connect, clock, log, signal };
      return this.#noteLeft(await restoreRig(request));
    } catch (error) {
      const because = this.mustStop ? "the service is stopped" : isPassing(error) && error.message;
      if (because) return { because, againSeconds: tryAgainSeconds };
      throw error;
    }
  }

  /** A run that its records still call unfinished has had a try in vain. */
  #noteLeft(recovered: readonly RecoveredRun[]) {
    const unfinished = findUnfinishedRuns(this.#records, this.#rig).runs.map(({ runId }) => runId);
    const left = recovered.filter(({ runId }) => unfinished.includes(runId));
    if (left.length === 0) return undefined;
    for (const { runId, baselineLost } of left) {
      const tries = baselineLost ? restoreTriesMost : 1; // what nobody knows no other try brings back
      for (let n = 0; n < tries; n++) this.#record.noteRestoreTry(runId);
    }
    const most = Math.max(...left.map(({ runId }) => this.#record.restoreTries(runId)));
    const settings = left.flatMap((run) => run.settings.filter(({ state }) => state === "different"));
    const reasons = [...settings.map(describeLeft), ...left.flatMap(({ unwritten }) => unwritten)];
    const because = reasons.join("; ") || "how the rig was found is damaged";
    return { because, againSeconds: restoreWaitsSeconds[most - 1] ?? tryAgainSeconds };
  }

  /** Until something is to be begun, a person must act, or something is to be put back. */
  async standBy(): Promise<void> {
    const { clock } = this.options;
    await this.#unlessLedgerFails(async () => {
      while (!this.mustStop) {
        this.#rereadInput();
        this.#held = this.#whyHeld();
        if (this.#held || this.mustRecover) return;
        this.#endCutShort();
        const nowUtcMs = clock.nowMs();
        const deed = nextDeed(this.#agenda(nowUtcMs), nowUtcMs + aheadMs);
        if (deed.deed === "begin") {
          this.#next = deed.row;
          return;
        }
        if (deed.deed === "refuse") this.#refuse(deed.row, deed.because);
        else await this.#standStill(deed.untilUtcMs, deed.because);
      }
    });
  }

  /** Without a ledger nothing would be remembered, and so nothing is begun. */
  async #unlessLedgerFails(work: () => Promise<void>): Promise<void> {
    try {
      await work();
    } catch (error) {
      if (!(error instanceof LedgerError)) throw error;
      this.#held = { because: error.message, whatToDo: error.whatToDo };
    }
  }

  async #standStill(untilUtcMs: number, because: string): Promise<void> {
    const { clock } = this.options;
    this.#status("standing by", because, { untilUtcMs });
    const fromSeconds = clock.monotonicSeconds();
    const wish = this.options.wishes?.changed;
    while (!this.mustStop && !wish?.aborted && clock.monotonicSeconds() - fromSeconds < recordsEverySeconds) {
      if (untilUtcMs - clock.nowMs() > restMarginSeconds * 1000) await this.#lookAtRest();
      const seconds = (untilUtcMs - clock.nowMs()) / 1000;
      if (seconds <= 0 || this.options.inputStamp() !== this.#stamp || holdAtRest(this.#rest)) return;
      this.#status("standing by", because, { untilUtcMs });
      await this.#sleep(Math.min(seconds, lookEverySeconds));
    }
  }

  /** What is cheap to know of a rig that nothing is done with, and of the computer. */
  async #lookAtRest(): Promise<void> {
    const { log, signal, runsFolder } = this.options;
    const { rigFile } = this.#input;
    const watch = this.#restWatch;
    if (watch.isRigLookDue && !this.mustStop) {
      try {
        using lock = await this.#lock();
        void lock;
        watch.noteRig(await lookAtRig(rigFile, this.#links, signal));
      } catch (error) {
        if (this.mustStop) return;
        if (!isPassing(error)) throw error;
        watch.noteRig([{ what: "rig", verdict: "not known", text: error.message }]);
      }
    }
    const freeMegabytes = (this.options.freeDiskMegabytes ?? (() => freeDiskMegabytes(runsFolder)))();
    const space = { freeMegabytes, leastMegabytes: rigFile.limits.freeDiskMegabytesMin };
    const before = this.#rest;
    this.#rest = watch.rows(space, this.#record.lookedUtcMs());
    this.#record.look(this.options.clock.nowMs());
    for (const { what, verdict, text } of this.#rest)
      if (verdict === "not so" && !before.some((row) => row.what === what && row.verdict === verdict))
        log.warn({ what }, `between runs, ${what}: ${text}`);
  }

  /** One entry: asked whether it is wanted, then carried out by the one door to a run. */
  runNext(): Promise<void> {
    this.#restWatch.forgetRig();
    this.#rest = [];
    return this.#unlessLedgerFails(() => this.#beginNext());
  }

  async #beginNext(): Promise<void> {
    const { entry, occasion, dueUtcMs } = this.#next!;
    const found = this.#input.loaded.schedule.entries.find((one) => one.entry === entry)!;
    try {
      using lock = await this.#lock();
      void lock;
      const unwanted = await this.#whyUnwanted(found);
      if (this.mustStop || this.#personsHold()) return;
      if (unwanted !== undefined) return this.#refuse(this.#next!, unwanted);
      await this.#carryOut({ entry, occasion, dueUtcMs, begunUtcMs: this.options.clock.nowMs() });
    } catch (error) {
      if (this.mustStop) return;
      if (!isPassing(error)) throw error;
      const untilUtcMs = this.options.clock.nowMs() + tryAgainSeconds * 1000;
      const trouble = error.message;
      this.#status("standing by", `${entry} is due and can't begin: ${trouble}`, { untilUtcMs, trouble });
      await this.#sleep(tryAgainSeconds);
    }
  }

  /** The rig is asked only where the answer needs it; one that does not answer keeps nothing from beginning. */
  async #whyUnwanted({ entry, onlyIfAny }: ScheduleEntry): Promise<string | undefined> {
    const { clock, ledger, log, signal } = this.options;
    const judge = (trainMark?: string) =>
      judgeConditions(onlyIfAny, flatFactsOf(ledger, this.#rig, trainMark), clock.nowMs());
    let judged = judge();
    if (judged.holds === "unknown") {
      this.#status("running", `the rig is asked whether ${entry} is wanted`, { entry });
      try {
        judged = judge(await readTrainMark(this.#input.rigFile, this.#links, signal));
      } catch (error) {
        log.warn({ error: String(error) }, "how the optical train is now could not be read");
      }
    }
    return judged.holds === false ? `${entry} is not wanted: ${judged.text}` : undefined;
  }

  async #carryOut(begun: Attempt): Promise<void> {
    const { clock, ledger, log, random, runsFolder, wishes } = this.options;
    const { entry } = begun;
    const stopSignals = [this.options.signal, ...(wishes ? [wishes.beginRun()] : [])];
    const signal = AbortSignal.any(stopSignals);
    const { rigFile, loaded } = this.#input;
    const plan = loaded.plans.get(entry)!;
    this.#record.begin(begun);
    this.runs++;
    this.#status("running", `${entry} is carried out`, { entry });
    let how: { ended: AttemptEnded; because: string } & Partial<Attempt>;
    try {
      const named = { utcMs: clock.nowMs(), rig: this.#rig, plan: plan.plan };
      const folder = makeRunFolder(runsFolder, named);
      const { freeDiskMegabytes } = this.options;
      const report = await runPlan({
        ...this.#links,
        random: random.fork(`${entry} ${begun.begunUtcMs}`),
        plan,
        rigFile,
        folder,
        ledger,
        signal,
        unattended: true,
        keepers: this.options.keepers(rigFile, folder),
        warn: (text) => log.warn({ entry }, text),
        progress: (progress) => this.#status("running", `${entry} is carried out`, { entry, progress }),
        writeOutputs: (record) => this.options.writeOutputs(record, folder),
        ...(freeDiskMegabytes ? { freeDiskMegabytes } : {}),
      });
      const { exitCode, record } = report;
      const ended = this.mustStop && endingOf(exitCode) === "stopped" ? "cut-short" : endingOf(exitCode);
      how = { ended, exitCode, runId: record.runId, because: describeRun(report).happened };
      this.options.onRunEnded?.(entry, report);
    } catch (error) {
      // Not even begun: no folder, no ledger. Nothing on the rig was touched.
      log.error({ entry, error: String(error) }, "a run could not be begun");
      how = { ended: "fault", because: error instanceof Error ? error.message : String(error) };
    }
    this.#record.endRunning({ ...how, endedUtcMs: clock.nowMs() });
  }

  /** Nothing is begun until a person has acted; what they did is read in the files and records that they change. */
  async waitForPerson(): Promise<void> {
    const { clock } = this.options;
    while (!this.mustStop && this.#held) {
      const { because, whatToDo } = this.#held;
      const untilUtcMs = clock.nowMs() + lookEverySeconds * 1000;
      this.#status("held", because, { whatToDo, untilUtcMs });
      await this.#unlessLedgerFails(async () => this.#leaveOut(because));
      await this.#sleep(lookEverySeconds);
      this.#rereadInput();
      if (holdAtRest(this.#rest)) {
        this.#restWatch.forgetRig(); // it is over when it is seen to be
        await this.#unlessLedgerFails(() => this.#lookAtRest());
      }
      this.#held = this.#whyHeld();
    }
  }

  /** Of what could not begin in time a word is said while nothing can begin, too. */
  #leaveOut(why: string): void {
    this.#endCutShort();
    for (const row of this.#agenda(this.options.clock.nowMs()).rows)
      if (row.standing.state === "missed") this.#refuse(row, `${row.entry} was left out, because ${why}`);
  }

  async stop(): Promise<void> {
    this.#status("stopping", this.failure === undefined ? "it was told to stop" : "of a fault of its own");
    await this.#unlessLedgerFails(async () => this.#writeWishes());
  }

  /** A file that is half written, or wrong, changes nothing; it is told once for each change. */
  #rereadInput(): void {
    const stamp = this.options.inputStamp();
    if (stamp === this.#stamp) return;
    this.#stamp = stamp;
    try {
      const input = this.options.readInput();
      if (input.rigFile.rig !== this.#rig)
        throw new Error(`the rig file is that of ${input.rigFile.rig} now: stop the service for another rig`);
      this.#input = input;
      this.#fileTrouble = undefined;
    } catch (error) {
      this.#fileTrouble = error instanceof Error ? error.message : String(error);
      this.options.log.error(
        { error: this.#fileTrouble },
        "a changed file can't be used, the old one is kept",
      );
    }
  }

  #agenda(nowUtcMs: number) {
    const { loaded, site } = this.#input;
    const sinceUtcMs = this.#sinceUtcMs;
    const span = { fromUtcMs: nowUtcMs - backMs, toUtcMs: nowUtcMs + aheadMs };
    const attempts = this.#attempts();
    return composeAgenda({ schedule: loaded.schedule, site, attempts, nowUtcMs, sinceUtcMs, ...span });
  }

  #attempts(): readonly Attempt[] {
    return this.#record.attempts(this.options.clock.nowMs() - backMs - 2 * dayMs);
  }

  #refuse({ entry, occasion, dueUtcMs }: AgendaRow, because: string): void {
    const nowUtcMs = this.options.clock.nowMs();
    const times = { dueUtcMs, begunUtcMs: nowUtcMs, endedUtcMs: nowUtcMs };
    this.#record.begin({ entry, occasion, ...times, ended: "refused", because });
    this.options.log.info({ entry, occasion, because }, "an entry is left out");
    this.options.onLeftOut?.(entry, because);
  }

  /** A ledger that can't be written to is a person's matter too: without it nothing is remembered. */
  #whyHeld(): Hold | undefined {
    const { clock } = this.options;
    try {
      this.#record.look(clock.nowMs());
      this.#writeWishes();
      const isGivenUp = (runId: string) => this.#record.restoreTries(runId) >= restoreTriesMost;
      const about = { records: this.#records, rigFile: this.#input.rigFile, isGivenUp };
      return whyHeld({ ...about, nowUtcMs: clock.nowMs() }) ?? holdAtRest(this.#rest) ?? this.#personsHold();
    } catch (error) {
      if (!(error instanceof LedgerError)) throw error;
      return { because: error.message, whatToDo: error.whatToDo };
    }
  }

  /** Whatever a person wants, a rig that was left is put back first. */
  #personsHold(): Hold | undefined {
    this.#writeWishes();
    if (this.mustRecover) return undefined;
    const deed = findPersonsHold(listPersonDeeds(this.options.ledger, this.#rig));
    return deed && holdByPerson(deed);
  }

  #writeWishes(): void {
    const { ledger, wishes } = this.options;
    wishes?.writeDown((deed) => savePersonDeed(ledger, this.#rig, deed));
  }

  get #rig(): string {
    return this.#input.rigFile.rig;
  }

  get #records(): RunRecords {
    const { ledger, runsFolder } = this.options;
    return { ledger, ledgerFile: ledger.file, runsFolders: [runsFolder] };
  }

  get #links() {
    const { openers, exchanges, clock, random, log } = this.options;
    return { openers, exchanges, clock, random, log };
  }

  #lock(): Promise<Disposable> {
    const { ledger, clock, lockFolder } = this.options;
    return lockRig(ledger.file, this.#input.rigFile, { clock, lockFolder });
  }

  async #sleep(seconds: number): Promise<void> {
    const { clock, signal, wishes } = this.options;
    const changed = wishes?.changed;
    await clock
      .sleep(seconds, changed ? AbortSignal.any([signal, changed]) : signal)
      .catch((error: unknown) => {
        if (!this.mustStop && !changed?.aborted) throw error;
      });
  }

  #status(state: ServiceStatus["state"], because: string, more: Partial<ServiceStatus> = {}): void {
    const fileTrouble = this.#fileTrouble;
    const last = this.#lastStatus;
    const isSame = last?.state === state && last.because === because;
    const sinceUtcMs = isSame ? last.sinceUtcMs : this.options.clock.nowMs();
    const isAtRest = (state === "standing by" || state === "held") && this.#rest.length > 0;
    const rest = isAtRest ? this.#rest : undefined;
    this.#lastStatus = { state, sinceUtcMs, because, ...more, ...given({ rest, fileTrouble }) };
    this.options.onStatus(this.#lastStatus);
  }
}

/** What another process, a server or a disk may end by itself. */
function isPassing(error: unknown): error is Error {
  return (
    error instanceof RigBusyError || error instanceof LockFolderError || error instanceof RigNotConnectedError
  );
}
