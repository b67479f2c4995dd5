import { statSync } from "node:fs";
import { dirname, resolve } from "node:path";
import type { Command } from "commander";
import type { Clock } from "../../drivers/kit/clock.ts";
import type { Log } from "../../drivers/kit/log.ts";
import { lockFolderDefault, takeHostLock } from "../run/machine/host-lock.ts";
import { describeRun } from "../run/record/describe-run.ts";
import type { RunRecord } from "../run/record/run-record.ts";
import { Wishes } from "../service/deeds/wishes.ts";
import { noticeOfEnding } from "../service/notices/watch-conditions.ts";
import { listenPage } from "../service/page/listen-page.ts";
import { type PageSource, readBeforeWork } from "../service/page/page-facts.ts";
import { endingOf } from "../service/schedule/attempts.ts";
import { localText } from "../service/schedule/local-day.ts";
import { serveSchedule } from "../service/serve-schedule.ts";
import type { ServiceInput } from "../service/service-options.ts";
import type { ServiceLook, ServiceStatus } from "../service/service-status.ts";
import { type KeptRun, keepersOfRun } from "./keepers-of-run.ts";
import { ledgerFileDefault } from "./ledger-place.ts";
import { isLoopback, type ListenPlace, readListen } from "./listen-place.ts";
import {
  addCommand,
  CommandError,
  type CommandHost,
  conclude,
  exitCodes,
  hostOfRig,
  type Outcome,
  wrongInput,
} from "./outcome.ts";
import { noticesFromFile, rigFromFile } from "./rig-from-file.ts";
import { type RigWiring, wireRig } from "./rig-wiring.ts";
import { logOption } from "./run-log.ts";
import { openLedgerForRun } from "./run-records.ts";
import { loadSchedule, siteOfSchedule } from "./schedule-from-file.ts";
import { openActing } from "./serve-acting.ts";
import { openManagerNews } from "./serve-manager.ts";
import { openNews } from "./serve-notices.ts";
import { type StopWords, stopWordsOfRun } from "./stop-signals.ts";

export interface ServeOptions {
  readonly rig: string;
  readonly runs: string;
  readonly ledger: string;
  /** [HOST:]PORT; left out, there is no page. */
  readonly page?: string;
  /** A file with the token of who may act on the page; left out, it is only to be read. */
  readonly actToken?: string;
  /** The notices file; left out, nobody is told. */
  readonly notices?: string;
}

export interface ServeWiring extends RigWiring {
  writeOutputs(record: RunRecord, folder: string): Promise<readonly string[]>;
  keepers(of: KeptRun): ReturnType<typeof keepersOfRun>;
}

const words: StopWords = {
  ...stopWordsOfRun,
  first: "Stopping; a run that is under way settles and puts the rig back first.",
  again: "Still putting the rig back; please wait.",
  state: "The rig is as it was found, or as the last line above says.",
};

/** `evenfield serve`: one rig by its schedule, until the signal. @throws CommandError */
export async function serve(
  schedulePath: string,
  options: ServeOptions,
  wiring: ServeWiring,
  host: CommandHost,
): Promise<Outcome> {
  const pageAt = options.page === undefined ? undefined : readPageAddress(options.page);
  const notices = options.notices === undefined ? undefined : noticesFromFile(options.notices);
  const readInput = () => readFiles(schedulePath, options.rig);
  const { rigFile, site } = readInput();
  const { rig } = rigFile;
  using alone = beTheOnlyService(options.ledger, rig, wiring.lockFolder);
  void alone;
  using ledger = openLedgerForRun(options, rig);
  const { clock } = host;
  const say = sayChanges(host, site.timeZone);
  let status: ServiceStatus | undefined;
  let look: (() => ServiceLook) | undefined;
  const wishes = new Wishes();
  const source: PageSource = {
    rig,
    timeZone: site.timeZone,
    runsFolder: options.runs,
    ledger,
    nowMs: () => clock.nowMs(),
    status: () => status,
    look: () => look?.(),
    acting:
      pageAt && options.actToken !== undefined
        ? openActing(options.actToken, {
            rigPath: options.rig,
            wishes,
            clock,
            log: wiring.log,
            status: () => status,
          })
        : undefined,
  };
  await using page = pageAt && (await showPage(pageAt, source, wiring.log));
  await using news = notices && (await openNews(notices, source, wiring.log, host));
  using manager = await openManagerNews(process.env, clock, wiring.log);
  if (page) host.stderr(`The page is at ${page.address}\n`);
  const { runs } = await serveSchedule({
    ...wiring,
    clock,
    ledger,
    runsFolder: options.runs,
    wishes,
    readInput,
    inputStamp: () => stampOf(schedulePath, options.rig),
    keepers: (file, folder) => wiring.keepers({ ...options, rigFile: file, folder, clock, log: wiring.log }),
    onStatus: (now) => {
      if (page || news) readBeforeWork(source, now, wiring.log);
      status = now;
      say(now);
      news?.note(now);
      manager?.note(now);
    },
    onReady: (read) => {
      look = read;
      manager?.ready();
    },
    onLeftOut: (entry, because) => news?.add(noticeOfEnding(entry, "refused", { happened: because })),
    onRunEnded: (entry, report) => {
      news?.add(noticeOfEnding(entry, endingOf(report.exitCode), describeRun(report)));
      host.stderr(
        `${stampText(clock, site.timeZone)}  ${entry}: ${report.ended}, verdict ${report.verdict}, exit code ${report.exitCode}; ${report.folder}\n`,
      );
    },
  });
  return {
    exitCode: exitCodes.done,
    result: { rig, runs },
    text: `${rig}: the service has ended; ${runs} ${runs === 1 ? "run was" : "runs were"} begun.`,
  };
}

function readFiles(schedulePath: string, rigPath: string): ServiceInput {
  const rigFile = rigFromFile(rigPath);
  return { rigFile, site: siteOfSchedule(rigFile, rigPath), loaded: loadSchedule(schedulePath) };
}

/** When and how large each file is; one that is gone, or can't be read just now, is another. */
function stampOf(schedulePath: string, rigPath: string): string {
  const plans = plansOf(schedulePath);
  return [schedulePath, rigPath, ...plans]
    .map((file) => {
      const found = statSync(file, { throwIfNoEntry: false });
      return found ? `${found.mtimeMs} ${found.size}` : "not there";
    })
    .join("; ");
}

function plansOf(schedulePath: string): readonly string[] {
  try {
    const { schedule } = loadSchedule(schedulePath);
    return schedule.entries.map(({ plan }) => resolve(dirname(schedulePath), plan));
  } catch {
    return [];
  }
}

const nothingBegun = "Nothing was begun.";

/** Whoever reads it learns when nobody is there: it is for this computer alone. @throws CommandError */
function readPageAddress(text: string): ListenPlace {
  const at = readListen(text, nothingBegun);
  if (isLoopback(at.host)) return at;
  throw new CommandError(exitCodes.safety, {
    happened: `Refused: others could read the page at ${at.host}.`,
    state: nothingBegun,
    whatToDo: `Give --page ${at.port}, which only this computer reaches; from elsewhere go through \`ssh -L ${at.port}:localhost:${at.port} COMPUTER\`.`,
  });
}

async function showPage(at: ListenPlace, source: PageSource, log: Log) {
  const page = await listenPage(at, source, log).catch((error: Error) => {
    throw wrongInput(
      nothingBegun,
      `The page can't be shown at ${at.host} port ${at.port} (${error.message}).`,
      "Name another port.",
      error,
    );
  });
  const host = at.host.includes(":") ? `[${at.host}]` : at.host;
  return Object.assign(page, { address: `http://${host}:${page.port}/` });
}

/** A run takes the rig for itself; this keeps a second service off it between runs too. @throws CommandError */
function beTheOnlyService(ledger: string, rig: string, folder = lockFolderDefault): Disposable {
  const lock = takeHostLock(folder, JSON.stringify(["service", resolve(ledger), rig]));
  if (lock) return lock;
  throw new CommandError(exitCodes.safety, {
    happened: `Refused: another service serves the rig ${rig} already.`,
    state: "This one touched nothing.",
    whatToDo: "Stop the other one first, or leave it to it.",
  });
}

/** A line for each change of what the service is about; progress within a run is no such change. */
function sayChanges(host: CommandHost, zone: string): (status: ServiceStatus) => void {
  let said = "";
  return ({ state, because, untilUtcMs, whatToDo, fileTrouble, rest = [] }) => {
    const until =
      untilUtcMs === undefined || state === "held" ? "" : ` (until ${localText(untilUtcMs, zone)})`;
    const wrong = rest.filter(({ verdict }) => verdict === "not so");
    const atRest = wrong.map(({ what, text }) => `${what}: ${text}`);
    const lines = [`${state}: ${because}${until}`, whatToDo, fileTrouble, ...atRest].filter(
      (line) => line !== undefined,
    );
    const text = lines.join("\n  ");
    // The numbers of what is not at rest change with every look, and are no news.
    const news = [state, because, whatToDo, fileTrouble, ...wrong.map(({ what }) => what)].join();
    if (news === said) return;
    said = news;
    host.stderr(`${stampText(host.clock, zone)}  ${text}\n`);
  };
}

function stampText(clock: Clock, zone: string): string {
  return localText(clock.nowMs(), zone);
}

export function registerServe(
  program: Command,
  writeOutputs: ServeWiring["writeOutputs"],
  host: CommandHost = hostOfRig(),
): void {
  addCommand(program, "serve", "evenfield serve plans/serve/each-clear-day.yaml --rig plans/rig-example.yaml")
    .argument("<schedule>", "the schedule file; a changed one is taken while it serves")
    .requiredOption("--rig <file>", "the rig file, whose `site.timeZone` says by which clock")
    .option("--runs <folder>", "where each run's own folder is made", "runs")
    .option("--ledger <file>", "the ledger of runs and baselines", ledgerFileDefault())
    .option(
      "--page <[HOST:]PORT>",
      "show how it stands there, to browsers on this computer; also /health and /metrics",
    )
    .option(
      "--act-token <file>",
      "whose first line lets a person act on the page: stop, hold, go on, confirm the filter",
    )
    .option("--notices <file>", "who is told of what, and how; read once, at the start")
    .addOption(logOption())
    .action((schedule: string, options: ServeOptions & { json?: boolean; log: string }) =>
      conclude(
        host,
        { command: "serve", json: options.json },
        (signal) => {
          const { askPerson: _, ...wiring } = wireRig(host, signal, options.log);
          return serve(schedule, options, { ...wiring, writeOutputs, keepers: keepersOfRun }, host);
        },
        words,
      ),
    );
}
