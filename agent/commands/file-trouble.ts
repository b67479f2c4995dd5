import { asInputError, type FailedFile, InputError } from "../files/input-error.ts";
import { CommandError, exitCodes } from "./outcome.ts";

/** Runs work on files; what is wrong with them ends the command as a wrong input, in the state that is named. */
export function runOnFiles<Result>(state: string, work: () => Result): Result {
  try {
    return work();
  } catch (error) {
    throw fileTrouble(state, error);
  }
}

/** @returns the error that ends the command; any that files are not to blame for as it is */
export function fileTrouble(state: string, error: unknown): unknown {
  const input = asInputError(error, "A file");
  if (!(input instanceof InputError)) return error;
  return new CommandError(
    exitCodes.wrongInput,
    { happened: input.happened, state, whatToDo: input.whatToDo },
    { cause: error },
  );
}

/** Names the file once. */
export function describeFailedFile({ file, happened, whatToDo }: FailedFile): string {
  return `${happened.includes(file) ? "" : `${file}: `}${happened} ${whatToDo}`;
}
