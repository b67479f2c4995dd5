/** A file that cannot be used as asked. Nothing has been changed because of it. */
export class InputError extends Error {
  override readonly name = "InputError";
  constructor(
    readonly happened: string,
    readonly whatToDo: string,
    options?: ErrorOptions,
  ) {
    super(`${happened} ${whatToDo}`, options);
  }
}

/** A file that was left out, and why. */
export interface FailedFile {
  readonly file: string;
  readonly happened: string;
  readonly whatToDo: string;
}

/** Does work on a file, or a group of them. @throws InputError for what the file system or a format minds */
export function explainFileErrors<Result>(path: string, work: () => Result): Result {
  try {
    return work();
  } catch (error) {
    throw asInputError(error, path);
  }
}

/** A file that can't be used, to go on with the others. @throws any other error as it is */
export function asFailedFile(error: unknown, file: string): FailedFile {
  const input = asInputError(error, file);
  if (!(input instanceof InputError)) throw error;
  return { file, happened: input.happened, whatToDo: input.whatToDo };
}

/** What a file system or format error means for the person; other errors come back as they are. */
export function asInputError(error: unknown, path: string): unknown {
  if (error instanceof InputError || !(error instanceof Error) || !("code" in error)) return error;
  const cause = { cause: error };
  switch (error.code) {
    case "FITS_UNREADABLE":
    case "SER_UNREADABLE":
      return new InputError(
        `${error.message}.`,
        "Leave the file out, or copy it again from where it came.",
        cause,
      );
    case "ENOENT":
      return new InputError(`${path} is not there.`, "Check the path.", cause);
    case "EACCES":
    case "EPERM":
      return new InputError(
        `${path} may not be read or written.`,
        "Check the rights of the file and its folder.",
        cause,
      );
    case "EISDIR":
      return new InputError(
        `${path} is a folder.`,
        `Name the files in it, for instance ${path}/*.fits.`,
        cause,
      );
    case "ENOTDIR":
      return new InputError(`${path} leads through a file as if it were a folder.`, "Check the path.", cause);
    case "EMFILE":
    case "ENFILE":
      return new InputError(
        "Too many files are open at once.",
        "Raise the limit of open files (`ulimit -n 65536`) and start again.",
        cause,
      );
    case "ENOSPC":
      return new InputError(
        `There is no room left on the disk of ${path}.`,
        "Make room and start again.",
        cause,
      );
    case "EEXIST":
      return new InputError(`${path} is there already.`, "Name another one, or pass --replace.", cause);
    default:
      return error;
  }
}
