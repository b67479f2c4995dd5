import { createInterface } from "node:readline/promises";
import type { AskPerson } from "../run/checks/hand-cover.ts";

/** Asks at the terminal; asks again until the answer is y or n. */
export const askAtTerminal: AskPerson = async (question, signal) => {
  const terminal = createInterface({ input: process.stdin, output: process.stderr });
  terminal.on("SIGINT", () => process.emit("SIGINT")); // it keeps Ctrl-C to itself otherwise
  try {
    for (;;) {
      const answer = (await terminal.question(`${question} [y/n] `, { signal })).trim().toLowerCase();
      if (answer === "y" || answer === "yes") return "yes";
      if (answer === "n" || answer === "no") return "no";
    }
  } finally {
    terminal.close();
  }
};
