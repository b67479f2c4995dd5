import { createInterface } from "node:readline/promises";
import type { AskPerson } from "../run/checks/hand-cover.ts";

/** Asks at the terminal; asks again until the answer is y or n. */
export const askAtTerminal: AskPerson = askOver(
  process.stdin,
  process.stderr,
  () => void process.emit("SIGINT"),
);

/** @param interrupt what a Ctrl-C leads to, which a terminal that is asking keeps to itself */
export function askOver(
  input: NodeJS.ReadableStream,
  output: NodeJS.WritableStream,
  interrupt: () => void,
): AskPerson {
  return async (question, signal) => {
    const terminal = createInterface({ input, output });
    terminal.on("SIGINT", interrupt);
    try {
      for (;;) {
        const answer = (await terminal.question(`${question} [y/n] `, { signal })).trim().toLowerCase();
        if (answer === "y" || answer === "yes") return "yes";
        if (answer === "n" || answer === "no") return "no";
      }
    } catch (error) {
      signal.throwIfAborted(); // its own reason, not that of the terminal
      throw error;
    } finally {
      terminal.close();
    }
  };
}
