/** It is not safe to look at the Sun, or not known to be: the run retreats. What is left on the rig is told by the run. */
export class UnsafeError extends Error {
  constructor(
    readonly code: "NOT_COVERED" | "COVER_STANDS_OPEN" | "KEEP_COVERED",
    message: string,
    readonly whatToDo: string,
  ) {
    super(message);
    this.name = "UnsafeError";
  }
}

/** Whether that is the reason, or one of several. */
export function isUnsafe(error: unknown): boolean {
  if (error instanceof AggregateError) return error.errors.some(isUnsafe);
  return error instanceof UnsafeError;
}
