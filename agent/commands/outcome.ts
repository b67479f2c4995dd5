import type { Clock } from "../../drivers/kit/clock.ts";
import { systemClock } from "../../drivers/kit/clock.ts";
import { type ExitCode, exitCodes } from "../run/record/exit-codes.ts";

export { type ExitCode, exitCodes } from "../run/record/exit-codes.ts";

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

/** What a command has of the process around it. */
export interface CommandHost {
  readonly clock: Clock;
  /** The result, and nothing else. */
  stdout(text: string): void;
  /** Everything else: log, progress, failures. */
  stderr(text: string): void;
  /** Whether stderr is a terminal, where a line can be drawn again. */
  readonly live: boolean;
  setExitCode(code: ExitCode): void;
}

export const processHost: CommandHost = {
  clock: systemClock,
  stdout: (text) => void process.stdout.write(text),
  stderr: (text) => void process.stderr.write(text),
  live: process.stderr.isTTY === true,
  setExitCode: (code) => {
    process.exitCode = code;
  },
};

/** How a command ended when it did not throw. */
export interface Outcome {
  readonly exitCode: ExitCode;
  /** For `--json`. */
  readonly result: object;
  /** For people: whole lines without the last line break. */
  readonly text: string;
}

/**
 * Runs a command's work, prints how it ended (with `json` one JSON object on stdout, failures too) and sets
 * the exit code. Never throws.
 */
export async function conclude(
  host: CommandHost,
  json: boolean,
  work: () => Outcome | Promise<Outcome>,
): Promise<void> {
  try {
    const outcome = await work();
    host.stdout(json ? `${JSON.stringify(outcome.result)}\n` : `${outcome.text}\n`);
    host.setExitCode(outcome.exitCode);
  } catch (error) {
    const failure = error instanceof CommandError ? error : faultOfOurs(error);
    const { happened, state, whatToDo } = failure.told;
    host.stderr(`${happened}\n${state}\n${whatToDo}\n`);
    if (failure.exitCode === exitCodes.fault) host.stderr(`${stackOf(failure.cause ?? failure)}\n`);
    if (json)
      host.stdout(`${JSON.stringify({ failed: true, exitCode: failure.exitCode, ...failure.told })}\n`);
    host.setExitCode(failure.exitCode);
  }
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
