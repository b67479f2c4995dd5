import { createInterface } from "node:readline/promises";
import type { AskPerson } from "../run/checks/hand-cover.ts";
import type { CommandHost } from "./process-host.ts";

/** Asks at the terminal; asks again until the answer is y or n. The terminal itself shows what is typed and minds Ctrl-C. */
export function askOver(input: NodeJS.ReadableStream, host: Pick<CommandHost, "stderr">): AskPerson {
  return async (question, signal) => {
    const lines = createInterface({ input, terminal: false });
    try {
      for (;;) {
        host.stderr(`${question} [y/n] `);
        const answer = (await lines.question("", { signal })).trim().toLowerCase();
        if (answer === "y" || answer === "yes") return "yes";
        if (answer === "n" || answer === "no") return "no";
      }
    } catch (error) {
      signal.throwIfAborted(); // its own reason, not that of the terminal
      throw error;
    } finally {
      lines.close();
    }
  };
}
