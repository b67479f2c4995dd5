import type { Command } from "commander";
import { neverAborted } from "../../drivers/kit/never-aborted.ts";
import { type ExitCode, exitCodes } from "../run/record/exit-codes.ts";
import { cautionText } from "../safing/caution.ts";
import { commandList } from "./command-list.ts";
import { doneEnvelope, envelopeText, failedEnvelope } from "./envelope.ts";
import type { CommandHost } from "./process-host.ts";
import { listenForStop, type StopWords, stopWords } from "./stop-signals.ts";

export { type ExitCode, exitCodes } from "../run/record/exit-codes.ts";
export { type CommandHost, hostOfRig, processHost } from "./process-host.ts";

/** Every failure of a command, in three sentences: what happened, what state things are in, what to do next. */
export class CommandError extends Error {
  override readonly name = "CommandError";
  constructor(
    readonly exitCode: ExitCode,
    readonly told: { readonly happened: string; readonly state: string; readonly whatToDo: string },
    options?: ErrorOptions,
  ) {
    super(`${told.happened} ${told.state} ${told.whatToDo}`, options);
  }
}

/** Of what a person named or wrote and cannot be used. */
export function wrongInput(state: string, happened: string, whatToDo: string, cause?: unknown): CommandError {
  return new CommandError(exitCodes.wrongInput, { happened, state, whatToDo }, { cause });
}

/** How a command ended when it did not throw. */
export interface Outcome {
  readonly exitCode: ExitCode;
  /** For `--json`. */
  readonly result: object;
  /** For people: whole lines without the last line break. */
  readonly text: string;
}

/** What was called, and whether a script reads it. */
export interface CalledCommand {
  readonly command: keyof typeof commandList;
  readonly json?: boolean | undefined;
}

/** Commands that turn a telescope: their help begins with what can hurt. */
const movesTelescope: readonly (keyof typeof commandList)[] = ["run", "serve", "restore", "keep", "drill"];

/** Adds a command with what all of them have: its line in the help's list, `--json` and an example. */
export function addCommand(program: Command, name: keyof typeof commandList, example: string): Command {
  const command = program
    .command(name)
    .description(commandList[name])
    .option("--json", "print one JSON result at the end")
    .addHelpText("after", `\nExample:\n  ${example}`);
  return movesTelescope.includes(name) ? command.addHelpText("before", `${cautionText}\n`) : command;
}

/**
 * Runs a command's work, prints how it ended (with `json` one `Envelope` on stdout, failures too) and sets
 * the exit code. Ctrl-C, SIGTERM and SIGHUP abort the signal. Never throws, and waits for no reader for long.
 */
export async function conclude(
  host: CommandHost,
  { command, json = false }: CalledCommand,
  work: (signal: AbortSignal) => Outcome | Promise<Outcome>,
  words: StopWords = stopWords,
): Promise<void> {
  using stop = host.signals && listenForStop(host.signals, words, (text) => host.stderr(text));
  const signal = stop?.signal ?? neverAborted;
  try {
    const outcome = await work(signal);
    host.stdout(json ? envelopeText(doneEnvelope(command, outcome)) : `${outcome.text}\n`);
    host.setExitCode(outcome.exitCode);
  } catch (error) {
    const wasStopped = signal.aborted && error === signal.reason;
    const failure = wasStopped ? stopped(words) : error instanceof CommandError ? error : faultOfOurs(error);
    const { happened, state, whatToDo } = failure.told;
    host.stderr(`${happened}\n${state}\n${whatToDo}\n`);
    if (failure.exitCode === exitCodes.fault) host.stderr(`${stackOf(failure.cause ?? failure)}\n`);
    if (json) host.stdout(envelopeText(failedEnvelope(command, failure)));
    host.setExitCode(failure.exitCode);
  }
  await host.wordsOut?.();
}

function stopped({ state }: StopWords): CommandError {
  return new CommandError(exitCodes.stopped, {
    happened: "Stopped by the operator.",
    state,
    whatToDo: "Start the command again when you like.",
  });
}

function faultOfOurs(cause: unknown): CommandError {
  return new CommandError(
    exitCodes.fault,
    {
      happened: `A fault of evenfield itself: ${cause instanceof Error ? cause.message : String(cause)}`,
      state: "The command stopped half way; files that were finished before are whole.",
      whatToDo: "Please report it with the lines below.",
    },
    { cause },
  );
}

function stackOf(error: unknown): string {
  return error instanceof Error ? (error.stack ?? error.message) : String(error);
}
