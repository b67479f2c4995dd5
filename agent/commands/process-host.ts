import { type Clock, systemClock } from "../../drivers/kit/clock.ts";
import { escapeSteering } from "../../drivers/kit/plain-text.ts";
import { lineAgain } from "../outputs/terminal-progress.ts";
import type { ExitCode } from "../run/record/exit-codes.ts";
import { type TakeWords, WordsQueue } from "../terminal/words-queue.ts";
import { type Thread, Threads } from "../threads/threads.ts";
import { writeWords } from "../threads/write-words.ts";
import type { SignalSource } from "./stop-signals.ts";

/** What a command has of the process around it. */
export interface CommandHost {
  readonly clock: Clock;
  /** The result, and nothing else. */
  stdout(text: string): void;
  /** Everything else: log, progress, failures. @param canBeMissed goes first when nobody reads */
  stderr(text: string, canBeMissed?: "canBeMissed"): void;
  /** Whether stderr is a terminal, where a line can be drawn again. */
  readonly live: boolean;
  /** Where the stops of a command come from; left out, none come. */
  readonly signals?: SignalSource;
  setExitCode(code: ExitCode): void;
  /** Resolves when all is written that somebody still reads; then there is nothing more to say. */
  wordsOut?(): Promise<void>;
}

// A terminal that is gone must not end a process that still has to put a rig back.
for (const stream of [process.stdout, process.stderr]) stream.on("error", () => {});

const ofThisProcess = {
  clock: systemClock,
  live: process.stderr.isTTY === true,
  signals: process,
  setExitCode: (code: ExitCode) => {
    process.exitCode = code;
  },
};

/** Whatever a device or a file says: only the line that is drawn again may steer the terminal, and only to its own beginning. */
export function safeWords(text: string, canBeMissed?: "canBeMissed"): string {
  const isDrawnAgain = canBeMissed !== undefined && text.startsWith(lineAgain);
  return isDrawnAgain ? lineAgain + escapeSteering(text.slice(lineAgain.length)) : escapeSteering(text);
}

/** Of commands that hold no rig: they may wait for whoever reads their words. */
export const processHost: CommandHost = {
  ...ofThisProcess,
  stdout: (text) => void process.stdout.write(escapeSteering(text)),
  stderr: (text, canBeMissed) => void process.stderr.write(safeWords(text, canBeMissed)),
};

/** At the end nothing is at stake any more, and somebody may page through what was said [s]. */
const lastWordsSeconds = 20;

/**
 * Of commands that hold a rig: no terminal, pipe or file that has stopped taking words keeps this process from watching
 * over it. A thread of its own writes to each.
 */
export function hostOfRig(): CommandHost {
  const out = wordsTo(1);
  const err = wordsTo(2);
  return {
    ...ofThisProcess,
    stdout: (text) => out.say(escapeSteering(text)),
    stderr: (text, canBeMissed) => err.say(safeWords(text, canBeMissed), canBeMissed),
    wordsOut: async () => {
      const all = Promise.all([out.emptied(), err.emptied()]);
      const tooLong = Promise.withResolvers<void>();
      const timer = systemClock.setTimer(lastWordsSeconds, tooLong.resolve);
      await Promise.race([all, tooLong.promise]);
      timer.cancel();
    },
  };
}

function wordsTo(file: 1 | 2): WordsQueue {
  return new WordsQueue(takeInThread(file));
}

/**
 * Has a thread write, started with the first word. Where none can be had, or it is lost, the words are written here and
 * now, and that is said once: a reader that stops then holds up the process, and silence would be worse.
 */
export function takeInThread(
  file: 1 | 2,
  changes: ConstructorParameters<typeof Threads>[1] = {},
  write: (file: number, text: string) => boolean = writeWords,
): TakeWords {
  let lost: string | undefined;
  const threads = new Threads((why) => {
    lost = `Words are written without a thread of their own (${why}): see that the terminal goes on reading.\n`;
  }, changes);
  let thread: Thread | undefined;
  return async (text) => {
    thread ??= threads.start("words", 0);
    thread?.release();
    const answer = await thread?.ask({ file, text });
    if (answer) return answer.result === true;
    const said = lost ?? "";
    lost = "";
    return write(file, said + text);
  };
}
