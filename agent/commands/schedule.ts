import type { Command } from "commander";
import { findUnconfirmedTrip } from "../run/ledger/retreats.ts";
import { type ForecastRow, forecastSchedule } from "../service/forecast.ts";
import { ScheduleRecord } from "../service/record/attempt-rows.ts";
import { flatFactsOf } from "../service/record/flat-facts.ts";
import { localText } from "../service/schedule/local-day.ts";
import { ledgerFileDefault } from "./ledger-place.ts";
import { numberOption } from "./number-option.ts";
import { addCommand, type CommandHost, conclude, exitCodes, type Outcome, processHost } from "./outcome.ts";
import { rigFromFile } from "./rig-from-file.ts";
import { openRecords } from "./run-records.ts";
import { loadSchedule, siteOfSchedule } from "./schedule-from-file.ts";

export interface ScheduleOptions {
  readonly rig: string;
  readonly days: number;
  readonly ledger: string;
  readonly runs: string;
}

const dayMs = 86_400_000;

/** `evenfield schedule`: what would be begun and what not; touches nothing. @throws CommandError */
export function showSchedule(file: string, options: ScheduleOptions, host: CommandHost): Outcome {
  const rigFile = rigFromFile(options.rig);
  const site = siteOfSchedule(rigFile, options.rig);
  const loaded = loadSchedule(file);
  using opened = openRecords(options);
  const { records } = opened;
  const fromUtcMs = host.clock.nowMs();
  const toUtcMs = fromUtcMs + options.days * dayMs;
  const rows = forecastSchedule({
    loaded,
    rigFile,
    site,
    flatFacts: flatFactsOf(records.ledger, rigFile.rig),
    unconfirmedTrip: findUnconfirmedTrip(records, rigFile),
    attempts: records.ledger
      ? new ScheduleRecord(records.ledger, rigFile.rig).attempts(fromUtcMs - 3 * dayMs)
      : [],
    fromUtcMs,
    toUtcMs,
  });
  const { schedule } = loaded.schedule;
  const { timeZone } = site;
  const result = {
    schedule,
    rig: rigFile.rig,
    timeZone,
    fromUtc: iso(fromUtcMs),
    toUtc: iso(toUtcMs),
    entries: rows.map(({ dueUtcMs, beginUtcMs, endUtcMs, because, ...row }) => ({
      ...row,
      dueUtc: iso(dueUtcMs),
      beginUtc: iso(beginUtcMs),
      endUtc: iso(endUtcMs),
      because: because ?? null,
    })),
  };
  const head = `${schedule} on ${rigFile.rig}, by the clock of ${timeZone}; as far as neither sky nor rig says otherwise:`;
  const lines = rows.map((row) => lineOf(row, timeZone));
  const nothing = ["  Nothing is due in that time."];
  return {
    exitCode: exitCodes.done,
    result,
    text: [head, ...(lines.length === 0 ? nothing : lines)].join("\n"),
  };
}

function lineOf(
  { entry, occasion, dueUtcMs, will, beginUtcMs, endUtcMs, because }: ForecastRow,
  zone: string,
) {
  const due = dueUtcMs === undefined ? `${occasion}      ` : localText(dueUtcMs, zone);
  if (will === "not begin") return `  ${due}  ${entry}: no, ${because}`;
  const clock = (utcMs: number) => localText(utcMs, zone).slice(11);
  const waits = beginUtcMs! - dueUtcMs! >= 60_000 ? `begins at ${clock(beginUtcMs!)}, ` : "";
  const condition = because === undefined ? "" : `, on a condition: ${because}`;
  return `  ${due}  ${entry}: ${waits}done by ${clock(endUtcMs!)} at the latest${condition}`;
}

function iso(utcMs: number | undefined): string | null {
  return utcMs === undefined ? null : `${new Date(utcMs).toISOString().slice(0, 19)}Z`;
}

export function registerSchedule(program: Command, host: CommandHost = processHost): void {
  addCommand(
    program,
    "schedule",
    "evenfield schedule plans/serve/each-clear-day.yaml --rig plans/demo-rig.yaml --days 3",
  )
    .argument("<schedule>", "the schedule file")
    .requiredOption("--rig <file>", "the rig file, whose `site.timeZone` says by which clock")
    .option(
      "--days <number>",
      "how many days from now",
      numberOption("1 to 366 days", (days) => days >= 1 && days <= 366),
      2,
    )
    .option("--ledger <file>", "the ledger of runs, for what was done already", ledgerFileDefault())
    .option("--runs <folder>", "where runs made their own folders", "runs")
    .action((file: string, options: ScheduleOptions & { json?: boolean }) =>
      conclude(host, { command: "schedule", json: options.json }, () => showSchedule(file, options, host)),
    );
}
