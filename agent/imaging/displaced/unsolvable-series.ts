/** Frames that can't tell the Sun from the rig: the flat would hold what it is meant to be free of. */
export class UnsolvableSeriesError extends Error {
  override readonly name = "UnsolvableSeriesError";
  /** @param message what is wrong, without its full stop */
  constructor(
    message: string,
    readonly whatToDo: string,
  ) {
    super(message);
  }
}
