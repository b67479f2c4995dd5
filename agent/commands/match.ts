import { existsSync } from "node:fs";
import type { Command } from "commander";
import { given } from "../../drivers/kit/given.ts";
import { openPictures } from "../files/image-file.ts";
import { type FileMatch, type KnownFlat, matchFile } from "../files/match/match-file.ts";
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
  exitCodes,
  type Outcome,
  processHost,
  wrongInput,
} from "./outcome.ts";
import { progressWithTimeLeft } from "./time-left.ts";

export interface MatchOptions {
  readonly ledger: string;
  readonly dark?: string;
}

/**
 * `evenfield match`: the master that fits an image or flat, or why none does. Ends with the code of a bad verdict unless one
 * is sure to fit.
 * @throws CommandError if the file or the ledger can't be read
 */
export async function match(
  path: string,
  options: MatchOptions,
  host: CommandHost,
  signal: AbortSignal,
): Promise<Outcome> {
  const progress = progressWithTimeLeft(host, "comparing with master flats");
  await runOnFiles(nothingChanged, progress, async () => openPictures(path)[Symbol.dispose]());
  const flats = flatsIn(options.ledger, path);
  const fft = await loadFft();
  const found = await runOnFiles(nothingChanged, progress, () =>
    matchFile(fft, path, flats, {
      ...given({ darkFile: options.dark }),
      onFlat: (done, of) => progress.update(done, of),
      signal,
    }),
  );
  const says = wordFor(found);
  return {
    exitCode: says === "fits" ? exitCodes.done : exitCodes.verdictBad,
    result: { file: path, says, ...found },
    text: textOf(path, says, found),
  };
}

const nothingChanged = "Nothing was changed.";

/** `none` also where the best that there is shows other dust. */
function wordFor({ best }: FileMatch): "fits" | "moved" | "uncertain" | "none" {
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

function flatsIn(ledgerFile: string, path: string): readonly KnownFlat[] {
  if (!existsSync(ledgerFile))
    throw wrongInput(
      nothingChanged,
      `There is no ledger ${ledgerFile}, and so no flat to compare with.`,
      "Name the ledger that the rig's runs keep with --ledger. A flat of your own is compared with the image by " +
        "`evenfield apply --flat FLAT`.",
    );
  using ledger = openLedger(ledgerFile);
  return listFlats(ledger)
    .filter(({ file }) => file !== path)
    .map(({ file, trainMark, madeUtcMs, verdict, facts }) => {
      const dust = facts.dust as readonly KnownShadow[] | undefined;
      return { file, trainMark, madeUtcMs, verdict, ...given({ dust }) };
    });
}

function textOf(path: string, says: string, { best, tried, leftOut }: FileMatch): string {
  if (!best) {
    const why = leftOut.slice(0, 5).map(({ file, reason }) => `  ${file}: ${reason}`);
    return [`${path}: none`, `No master flat in the ledger could be compared. Take a flat.`, ...why].join(
      "\n",
    );
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
  addCommand(program, "match", "evenfield match sun-0001.fits")
    .argument("<file>", "FITS image, flat, cube or SER sequence; of a sequence the mean is compared")
    .option("--ledger <file>", "ledger of the rig's runs", ledgerFileDefault())
    .option("--dark <file>", "master dark, taken off the image first")
    .action((path: string, options: MatchOptions & { json?: boolean }) =>
      conclude(host, { command: "match", json: options.json }, (signal) =>
        match(path, options, host, signal),
      ),
    );
}
