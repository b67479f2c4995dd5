import type { RigFile } from "../../plans/rig-file.ts";
import { checkPlan } from "../run/checks/check-plan.ts";
import { exitCodes } from "../run/record/exit-codes.ts";
import { RunRefusedError } from "../run/record/run-errors.ts";
import type { RetreatRecord } from "../run/record/run-record.ts";
import { plannedObserving } from "../run/steps/planned-time.ts";
import { stepTable } from "../run/steps/step-table.ts";
import { composeAgenda, nextDeed } from "./schedule/agenda.ts";
import { type Attempt, endingOf } from "./schedule/attempts.ts";
import { type FlatFacts, judgeConditions } from "./schedule/conditions.ts";
import type { LoadedSchedule } from "./schedule/loaded-schedule.ts";
import type { ScheduleSite } from "./schedule/moments.ts";

export interface ForecastRequest {
  readonly loaded: LoadedSchedule;
  readonly rigFile: RigFile;
  readonly site: ScheduleSite;
  readonly flatFacts: FlatFacts;
  readonly unconfirmedTrip: RetreatRecord | undefined;
  readonly attempts: readonly Attempt[];
  readonly fromUtcMs: number;
  readonly toUtcMs: number;
}

/** What would be done about an entry at one occasion, or why nothing would. */
export interface ForecastRow {
  readonly entry: string;
  /** The occasion's name; the day alone where nothing is due on it. */
  readonly occasion: string;
  readonly dueUtcMs?: number;
  readonly will: "begin" | "begin on a condition" | "not begin";
  readonly beginUtcMs?: number;
  /** On the long side. */
  readonly endUtcMs?: number;
  /** Why not, or on what condition; a sentence without its full stop. */
  readonly because?: string;
}

const dayMs = 86_400_000;

/**
 * What the service would do if no cloud came and nothing failed: its own rules, played forward from moment to moment, with
 * each plan checked as a run checks it before it begins.
 */
export function forecastSchedule(request: ForecastRequest): readonly ForecastRow[] {
  const { loaded, site, fromUtcMs, toUtcMs } = request;
  const { schedule } = loaded;
  const attempts = [...request.attempts];
  const rows: ForecastRow[] = [];
  let nowUtcMs = fromUtcMs;
  while (nowUtcMs <= toUtcMs) {
    const untilUtcMs = Math.min(toUtcMs + 1, nowUtcMs + dayMs);
    const span = { fromUtcMs: nowUtcMs - 2 * dayMs, toUtcMs: untilUtcMs };
    const agenda = composeAgenda({ schedule, site, attempts, nowUtcMs, sinceUtcMs: fromUtcMs, ...span });
    const next = nextDeed(agenda, untilUtcMs);
    if (next.deed === "wait") {
      nowUtcMs = Math.max(next.untilUtcMs, nowUtcMs + 1);
      continue;
    }
    const { entry, occasion, dueUtcMs } = next.row;
    const begun = { entry, occasion, dueUtcMs, begunUtcMs: nowUtcMs };
    const { attempt, row } =
      next.deed === "refuse"
        ? refused(begun, next.because)
        : foresee(request, begun, schedule.entries.find((one) => one.entry === entry)?.onlyIfAny);
    attempts.push(attempt);
    rows.push(row);
    nowUtcMs = Math.max(nowUtcMs, attempt.endedUtcMs!);
  }
  const span = { schedule, site, attempts, nowUtcMs, sinceUtcMs: fromUtcMs, fromUtcMs, toUtcMs };
  const none = composeAgenda(span).none.map(({ entry, day, because }): ForecastRow => {
    return { entry, occasion: day, will: "not begin", because };
  });
  return [...rows, ...none].toSorted((a, b) =>
    a.occasion < b.occasion ? -1 : a.occasion > b.occasion ? 1 : 0,
  );
}

type Begun = Pick<Attempt, "entry" | "occasion" | "dueUtcMs" | "begunUtcMs">;
interface Foreseen {
  readonly attempt: Attempt;
  readonly row: ForecastRow;
}

function refused(begun: Begun, because: string, ended: Attempt["ended"] = "refused"): Foreseen {
  const { entry, occasion, dueUtcMs, begunUtcMs } = begun;
  return {
    attempt: { ...begun, endedUtcMs: begunUtcMs, ended, because },
    row: { entry, occasion, dueUtcMs, will: "not begin", because },
  };
}

function foresee(
  { loaded, rigFile, flatFacts, unconfirmedTrip }: ForecastRequest,
  begun: Begun,
  conditions: Parameters<typeof judgeConditions>[0],
): Foreseen {
  const { entry, occasion, dueUtcMs, begunUtcMs } = begun;
  const { holds, text } = judgeConditions(conditions, flatFacts, begunUtcMs);
  // A flat of these days may change what holds of the flats: only today's answer is told for sure.
  if (holds === false)
    return refused(begun, `none of its conditions holds by the ledger as it is now: ${text}`);
  const scene = { plan: loaded.plans.get(entry)!, rigFile, findings: { lightRate: {} } };
  try {
    const freeDiskMegabytes = () => Number.POSITIVE_INFINITY; // who knows by then
    checkPlan({
      table: stepTable,
      scene,
      nowUtcMs: begunUtcMs,
      unattended: true,
      freeDiskMegabytes,
      unconfirmedTrip,
    });
  } catch (error) {
    if (!(error instanceof RunRefusedError)) throw error;
    const exitCode = error.kind === "safety" ? exitCodes.safety : exitCodes.wrongInput;
    return refused(begun, error.message, endingOf(exitCode));
  }
  const { toUtcMs: endUtcMs } = plannedObserving(stepTable, scene, begunUtcMs);
  const isSure = holds === true && conditions === undefined;
  return {
    attempt: { ...begun, endedUtcMs: endUtcMs, ended: "done" },
    row: {
      entry,
      occasion,
      dueUtcMs,
      will: isSure ? "begin" : "begin on a condition",
      beginUtcMs: begunUtcMs,
      endUtcMs,
      ...(isSure ? {} : { because: text }),
    },
  };
}
