import { asInputError, type FailedFile, InputError } from "../files/input-error.ts";
import { CommandError, exitCodes } from "./outcome.ts";

/** Runs work on files; what is wrong with them ends the command as a wrong input, in the state that is named. */
export function withFiles<Result>(state: string, work: () => Result): Result {
  try {
    return work();
  } catch (error) {
    const input = asInputError(error, "A file");
    if (!(input instanceof InputError)) throw error;
    throw new CommandError(
      exitCodes.wrongInput,
      { happened: input.happened, state, whatToDo: input.whatToDo },
      { cause: error },
    );
  }
}

/** Names the file once. */
export function failedText({ file, happened, whatToDo }: FailedFile): string {
  return `${happened.includes(file) ? "" : `${file}: `}${happened} ${whatToDo}`;
}
