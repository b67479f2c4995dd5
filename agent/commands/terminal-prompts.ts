import { isCancel, multiselect, select, text } from "@clack/prompts";
import { unlessAborted } from "../../drivers/kit/unless-aborted.ts";
import { CommandError, exitCodes } from "./outcome.ts";

/** Whoever answers what the options leave open. @throws the signal's reason, or CommandError when somebody gives up */
export interface Prompts {
  text(
    question: {
      readonly message: string;
      readonly usual?: string | undefined;
      problem(answer: string): string | undefined;
    },
    signal: AbortSignal,
  ): Promise<string>;
  one<Value>(
    message: string,
    choices: readonly { label: string; value: Value }[],
    signal: AbortSignal,
  ): Promise<Value>;
  many<Value>(
    message: string,
    choices: readonly { label: string; value: Value }[],
    signal: AbortSignal,
  ): Promise<readonly Value[]>;
}

/**
 * Asks at the terminal, on standard error; `undefined` where there is none. The library does not end a question
 * whose terminal has hung up: the signal does.
 */
export function terminalPrompts(): (Prompts & Disposable) | undefined {
  if (process.stdin.isTTY !== true) return undefined;
  process.stdin.on("error", () => {}); // it has hung up, and nobody is there to be told
  const output = process.stderr as unknown as NonNullable<Parameters<typeof text>[0]["output"]>;
  const answered = <Answer extends string | number | number[]>(answer: Answer | symbol): Answer => {
    if (!isCancel(answer)) return answer as Answer;
    throw new CommandError(exitCodes.stopped, {
      happened: "Stopped by you.",
      state: "Nothing was written.",
      whatToDo: "Start the command again when you like.",
    });
  };
  return {
    text: async ({ message, usual, problem }, signal) => {
      const validate = (answer: string | undefined) => problem(answer || usual || "");
      const usually = usual === undefined ? {} : { placeholder: usual, defaultValue: usual };
      return answered<string>(await unlessAborted(text({ message, output, validate, ...usually }), signal));
    },
    one: async (message, choices, signal) => {
      const options = choices.map(({ label }, index) => ({ label, value: index }));
      const picked = answered<number>(await unlessAborted(select({ message, options, output }), signal));
      return choices[picked]!.value;
    },
    many: async (message, choices, signal) => {
      const options = choices.map(({ label }, index) => ({ label, value: index }));
      const asked = multiselect({ message, options, required: false, output });
      const picked = answered<number[]>(await unlessAborted(asked, signal));
      return picked.map((index) => choices[index]!.value);
    },
    // A terminal that has hung up is ready to be read for ever, and would keep the process going round.
    [Symbol.dispose]: () => void process.stdin.destroy(),
  };
}
