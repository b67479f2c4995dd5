import { existsSync } from "node:fs";
import { resolve } from "node:path";
import type { Command } from "commander";
import { given } from "../../drivers/kit/given.ts";
import { openPictures } from "../files/image-file.ts";
import { asFailedFile } from "../files/input-error.ts";
import { listMasterFlats } from "../files/match/master-folder.ts";
import { type FileMatch, type KnownFlat, matchFiles } from "../files/match/match-file.ts";
import { matchText } from "../imaging/match/match-words.ts";
import type { KnownShadow } from "../imaging/match/shadow-moves.ts";
import { loadFft } from "../imaging/numerics/fft-library.ts";
import { listFlats } from "../run/ledger/history.ts";
import { Ledger } from "../run/ledger/ledger.ts";
import { LedgerError } from "../run/ledger/ledger-error.ts";
import { runOnFiles } from "./file-trouble.ts";
import { ledgerFileDefault } from "./ledger-place.ts";
import {
  addCommand,
  type CommandHost,
  conclude,
  type ExitCode,
  exitCodes,
  type Outcome,
  processHost,
  wrongInput,
} from "./outcome.ts";
import { progressWithTimeLeft } from "./time-left.ts";

export interface MatchOptions {
  readonly ledger: string;
  /** A folder of master flats, compared as well. */
  readonly masters?: string;
  readonly dark?: string;
}

/**
 * `evenfield match`: the master that fits a flat or images of one train, or why none does. Ends with the code of a bad verdict when
 * none fits, with one of its own when that can't be told.
 * @throws CommandError if a file or the ledger can't be read
 */
export async function match(
  paths: readonly string[],
  options: MatchOptions,
  host: CommandHost,
  signal: AbortSignal,
): Promise<Outcome> {
  const progress = progressWithTimeLeft(host, "comparing with master flats");
  for (const path of paths)
    await runOnFiles(nothingChanged, progress, async () => openPictures(path)[Symbol.dispose]());
  const flats = flatsFor(options, paths);
  const fft = await loadFft();
  const found = await runOnFiles(nothingChanged, progress, () =>
    matchFiles(fft, paths, flats, {
      ...given({ darkFile: options.dark }),
      onFlat: (done, of) => progress.update(done, of),
      signal,
    }),
  );
  const says = wordFor(found);
  return {
    exitCode: exitCodeFor[says],
    result: { file: paths[0], files: paths, says, ...found },
    text: textOf(paths, says, found),
  };
}

const nothingChanged = "Nothing was changed.";

type Word = "fits" | "moved" | "changed" | "uncertain" | "none";

const exitCodeFor: Record<Word, ExitCode> = {
  fits: exitCodes.done,
  moved: exitCodes.verdictBad,
  changed: exitCodes.verdictBad,
  none: exitCodes.verdictBad,
  uncertain: exitCodes.untold,
};

/** `none` also where the best that there is shows other dust. */
function wordFor({ best }: FileMatch): Word {
  if (!best || best.match.says === "other") return "none";
  return best.match.says === "untold" ? "uncertain" : best.match.says;
}

/** @throws CommandError */
function openLedger(ledgerFile: string): Ledger {
  try {
    return new Ledger(ledgerFile);
  } catch (error) {
    if (!(error instanceof LedgerError)) throw error;
    throw wrongInput(nothingChanged, `${error.message}.`, error.whatToDo, error);
  }
}

/** Those of the ledger and those of a folder, newest first. @throws CommandError */
function flatsFor({ ledger, masters }: MatchOptions, paths: readonly string[]): readonly KnownFlat[] {
  const named = new Set(paths.map((path) => resolve(path)));
  const all = [
    ...(masters === undefined || existsSync(ledger) ? flatsIn(ledger) : []),
    ...(masters === undefined ? [] : flatsInFolder(masters)),
  ];
  const byFile = new Map(all.toReversed().map((flat) => [resolve(flat.file), flat]));
  return [...byFile.values()]
    .filter(({ file }) => !named.has(resolve(file)))
    .toSorted((a, b) => b.madeUtcMs - a.madeUtcMs);
}

function flatsInFolder(folder: string): readonly KnownFlat[] {
  try {
    return listMasterFlats(folder);
  } catch (error) {
    const { happened, whatToDo } = asFailedFile(error, folder);
    throw wrongInput(nothingChanged, happened, whatToDo, error);
  }
}

function flatsIn(ledgerFile: string): readonly KnownFlat[] {
  if (!existsSync(ledgerFile))
    throw wrongInput(
      nothingChanged,
      `There is no ledger ${ledgerFile}, and so no flat to compare with.`,
      "Name the ledger that the rig's runs keep with --ledger, or a folder of master flats with --masters.",
    );
  using ledger = openLedger(ledgerFile);
  return listFlats(ledger).map(({ file, trainMark, madeUtcMs, verdict, facts }) => {
    const dust = facts.dust as readonly KnownShadow[] | undefined;
    return { file, trainMark, madeUtcMs, verdict, ...given({ dust }) };
  });
}

function textOf(paths: readonly string[], says: string, { best, tried, leftOut }: FileMatch): string {
  const path = paths.length === 1 ? paths[0] : `${paths.length} images together`;
  if (!best) {
    const why = leftOut.slice(0, 5).map(({ file, reason }) => `  ${file}: ${reason}`);
    return [`${path}: none`, `No master flat could be compared. Take a flat.`, ...why].join("\n");
  }
  const { file, madeUtcMs, verdict, match: one, sameTrain } = best;
  const train =
    sameTrain === undefined
      ? "the image says of no train mark"
      : sameTrain
        ? "same train mark"
        : "another train mark";
  return [
    `${path}: ${says}`,
    `  ${file}, made ${new Date(madeUtcMs).toISOString()}, verdict ${verdict}, ${train}`,
    `  ${matchText(one)}`,
    `  correlation ${one.correlationAtZero.toFixed(3)} in place, ${one.correlation.toFixed(3)} at best, ${one.correlationExpected.toFixed(3)} expected (fits from 0.9 of it); of ${tried} compared`,
  ].join("\n");
}

export function registerMatch(program: Command, host: CommandHost = processHost): void {
  addCommand(program, "match", "evenfield match sun-*.fits --masters flats")
    .argument(
      "<files...>",
      "one flat, or images of one train (FITS, cubes, SER; of a sequence the mean): four files and more are taken together, the Sun out of them",
    )
    .option("--ledger <file>", "ledger of the rig's runs", ledgerFileDefault())
    .option("--masters <folder>", "a folder of master flats, compared as well")
    .option("--dark <file>", "master dark, taken off the images first")
    .action((paths: string[], options: MatchOptions & { json?: boolean }) =>
      conclude(host, { command: "match", json: options.json }, (signal) =>
        match(paths, options, host, signal),
      ),
    );
}
