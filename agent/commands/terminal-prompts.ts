import { isCancel, multiselect, select, text } from "@clack/prompts";
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

/** Asks at the terminal, on standard error; `undefined` where there is none. */
export function terminalPrompts(): Prompts | undefined {
  if (process.stdin.isTTY !== true) return undefined;
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
      return answered<string>(await text({ message, output, signal, validate, ...usually }));
    },
    one: async (message, choices, signal) => {
      const options = choices.map(({ label }, index) => ({ label, value: index }));
      return choices[answered<number>(await select({ message, options, output, signal }))]!.value;
    },
    many: async (message, choices, signal) => {
      const options = choices.map(({ label }, index) => ({ label, value: index }));
      const picked = answered<number[]>(
        await multiselect({ message, options, required: false, output, signal }),
      );
      return picked.map((index) => choices[index]!.value);
    },
  };
}
