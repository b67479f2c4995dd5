import { asInputError, type FailedFile, InputError } from "../files/input-error.ts";
import { wrongInput } from "./outcome.ts";

/**
 * Runs work on files to its end and ends the progress with it.
 * @throws CommandError of a wrong input, in the state that is named, for what is wrong with the files
 */
export async function runOnFiles<Result>(
  state: string,
  progress: { end(): void },
  work: () => Promise<Result>,
): Promise<Result> {
  try {
    return await work();
  } catch (error) {
    const input = asInputError(error, "A file");
    throw input instanceof InputError ? wrongInput(state, input.happened, input.whatToDo, error) : error;
  } finally {
    progress.end();
  }
}

/** Names the file once. */
export function describeFailedFile({ file, happened, whatToDo }: FailedFile): string {
  return `${happened.includes(file) ? "" : `${file}: `}${happened} ${whatToDo}`;
}
