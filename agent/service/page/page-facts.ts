import { readFileSync } from "node:fs";
import { join } from "node:path";
import * as z from "zod";
import { given } from "../../../drivers/kit/given.ts";
import type { Log } from "../../../drivers/kit/log.ts";
import { type DrillRecord, listLastDrills } from "../../run/ledger/drills.ts";
import { listFlats } from "../../run/ledger/history.ts";
import type { Ledger } from "../../run/ledger/ledger.ts";
import { LedgerError } from "../../run/ledger/ledger-error.ts";
import type { RunRow } from "../../run/ledger/run-rows.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import { ScheduleRecord } from "../record/attempt-rows.ts";
import type { AgendaRow } from "../schedule/agenda.ts";
import type { Attempt } from "../schedule/attempts.ts";
import { localDay } from "../schedule/local-day.ts";
import type { NoOccasion } from "../schedule/occasions.ts";
import type { ServiceLook, ServiceStatus } from "../service-status.ts";
import type { Acting } from "./answer-act.ts";
import { reportPath } from "./run-files.ts";

/** How a run left the telescope, from its own record. */
export interface LeftBehind {
  readonly endedUtcMs: number;
  readonly covered:
    | { readonly proved: true; readonly by: string; readonly unseen?: string | undefined }
    | { readonly proved: false; readonly why: string };
  /** As read back at the end, where there is one. */
  readonly cover?: string | undefined;
}

/** Something that was begun, or left out. */
export interface PastDeed {
  readonly utcMs: number;
  readonly what: string;
  readonly ended: string;
  readonly because?: string;
  /** Where the report is shown. */
  readonly report?: string;
}

export interface RecordFacts {
  readonly site: ServiceLook["site"];
  readonly sunAltitudeDegrees: number;
  readonly next: readonly AgendaRow[];
  readonly none: readonly NoOccasion[];
  readonly lastFlat?: {
    readonly verdict: string;
    readonly madeUtcMs: number;
    readonly ageSeconds: number;
    readonly report?: string;
  };
  /** Absent when no run, or none that says so, is on record. */
  readonly left?: LeftBehind;
  readonly lastAttempt?: Attempt;
  /** Newest first. */
  readonly past: readonly PastDeed[];
  /** How many attempts have ended in each way. */
  readonly endings: ReadonlyMap<string, number>;
  /** The newest of each part of a drill. */
  readonly drills: readonly DrillRecord[];
}

/** All that the page, `/health` and `/metrics` are made of. */
export interface PageFacts {
  readonly rig: string;
  readonly timeZone: string;
  readonly nowUtcMs: number;
  readonly status: ServiceStatus;
  /** Or why the records can't be read. */
  readonly records: RecordFacts | { readonly trouble: string };
  readonly residentBytes: number;
}

export interface PageSource {
  readonly rig: string;
  readonly timeZone: string;
  readonly runsFolder: string;
  readonly ledger: Ledger;
  nowMs(): number;
  /** `undefined` until the service has begun. */
  status(): ServiceStatus | undefined;
  look(): ServiceLook | undefined;
  /** Left out, the page is only to be read. */
  readonly acting?: Acting | undefined;
}

const pastMost = 20;

interface LastRecords {
  readonly records: RecordFacts;
  readonly site: ServiceLook["site"];
}

/** What was read last. A process that guards a rig waits for no ledger and no disk because somebody looks at a page. */
const lastRecords = new WeakMap<PageSource, LastRecords>();

function asOfNow({ records, site }: LastRecords, nowUtcMs: number): RecordFacts {
  const { lastFlat } = records;
  const ageSeconds = lastFlat && (nowUtcMs - lastFlat.madeUtcMs) / 1000;
  return {
    ...records,
    sunAltitudeDegrees: sunFromSite(nowUtcMs, site).altitudeDegrees,
    ...(lastFlat && ageSeconds !== undefined ? { lastFlat: { ...lastFlat, ageSeconds } } : {}),
  };
}

function worksOnRig({ state }: ServiceStatus): boolean {
  return state === "running" || state === "recovering";
}

/** Reads the records once more before the rig is worked with. Never throws: the page is no reason for the service to end. */
export function readBeforeWork(source: PageSource, next: ServiceStatus, log: Log): void {
  const now = source.status();
  if (!worksOnRig(next) || !now || worksOnRig(now)) return;
  try {
    gatherFacts(source);
  } catch (error) {
    log.warn({ error: String(error) }, "the page could not be made ready");
  }
}

/** @returns `undefined` until the service has read its files; never throws for a ledger that can't be read */
export function gatherFacts(source: PageSource): PageFacts | undefined {
  const { rig, timeZone } = source;
  const status = source.status();
  const nowUtcMs = source.nowMs();
  if (!status) return undefined;
  const always = { rig, timeZone, nowUtcMs, status, residentBytes: process.memoryUsage.rss() };
  if (worksOnRig(status)) {
    const last = lastRecords.get(source);
    const trouble = "The records are read again when the rig is not worked with any more.";
    return { ...always, records: last ? asOfNow(last, nowUtcMs) : { trouble } };
  }
  try {
    const look = source.look();
    if (!look) return undefined;
    const records = readRecords(source, look, nowUtcMs);
    lastRecords.set(source, { records, site: look.site });
    return { ...always, records };
  } catch (error) {
    if (!(error instanceof LedgerError)) throw error;
    return { ...always, records: { trouble: `${error.message} ${error.whatToDo}` } };
  }
}

function readRecords(source: PageSource, look: ServiceLook, nowUtcMs: number): RecordFacts {
  const { ledger, rig, runsFolder } = source;
  const { site, agenda, attempts } = look;
  const runs = ledger.runs(rig).toReversed();
  const flats = listFlats(ledger).filter((flat) => flat.rig === rig);
  const report = (run: RunRow | undefined) => given({ report: run && reportPath(runsFolder, run.folder) });
  const begun = runs.slice(0, pastMost).map((run): PastDeed => {
    const attempt = attempts.findLast(({ runId }) => runId === run.runId);
    const what = attempt === undefined ? run.plan : `${attempt.entry}: ${run.plan}`;
    const ended = run.ended ?? (run.stage === "closed" ? "cut short, and put back" : "no end on record");
    return { utcMs: run.startedUtcMs, what, ended, ...given({ because: attempt?.because }), ...report(run) };
  });
  const leftOut = attempts
    .filter(({ runId, ended }) => runId === undefined && ended !== undefined)
    .map(({ begunUtcMs, entry, ended, because }): PastDeed => {
      return { utcMs: begunUtcMs, what: entry, ended: ended!, ...given({ because }) };
    });
  const [flat] = flats;
  const lastFlat = flat && {
    verdict: flat.verdict,
    madeUtcMs: flat.madeUtcMs,
    ageSeconds: (nowUtcMs - flat.madeUtcMs) / 1000,
    ...report(runs.find(({ runId }) => runId === flat.runId)),
  };
  return {
    site,
    sunAltitudeDegrees: sunFromSite(nowUtcMs, site).altitudeDegrees,
    next: agenda.rows.filter(({ standing: { state } }) => state !== "ended" && state !== "missed"),
    none: agenda.none.filter(({ day }) => day >= localDay(nowUtcMs, site.timeZone).toString()),
    past: [...begun, ...leftOut].toSorted((a, b) => b.utcMs - a.utcMs).slice(0, pastMost),
    endings: new ScheduleRecord(ledger, rig).countByEnding(),
    drills: listLastDrills(ledger, rig),
    ...given({ lastFlat, left: readLeft(ledger, runs), lastAttempt: attempts.at(-1) }),
  };
}

const runRecord = z.object({
  endedUtcMs: z.number(),
  leftOnRig: z.object({ cover: z.string().optional() }).optional(),
  safety: z.object({
    covered: z.discriminatedUnion("proved", [
      z.object({ proved: z.literal(true), by: z.string(), unseen: z.string().optional() }),
      z.object({ proved: z.literal(false), why: z.string() }),
    ]),
  }),
});

/** The record of a run is a large file, and does not change once it says how the run ended. */
const leftLast = new WeakMap<Ledger, { readonly runId: string; readonly left: LeftBehind }>();

/** Of the newest run that touched the rig; one that was refused touched nothing. */
function readLeft(ledger: Ledger, newestFirst: readonly RunRow[]): LeftBehind | undefined {
  const run = newestFirst.find(({ ended }) => ended !== "refused");
  if (!run || run.ended === null) return undefined;
  const last = leftLast.get(ledger);
  if (last?.runId === run.runId) return last.left;
  const left = readLeftFile(join(run.folder, "run.json"));
  if (left) leftLast.set(ledger, { runId: run.runId, left });
  return left;
}

function readLeftFile(file: string): LeftBehind | undefined {
  try {
    const { endedUtcMs, safety, leftOnRig } = runRecord.parse(JSON.parse(readFileSync(file, "utf8")));
    return { endedUtcMs, covered: safety.covered, ...given({ cover: leftOnRig?.cover }) };
  } catch {
    return undefined;
  }
}
