/** What made it unsafe to look. Cover: a frame contradicts what it says. Brightness: the Sun filter may be gone, and a person has to confirm it before any cover opens. */
export type UnsafeKind = "brightness" | "weather" | "cover" | "other";

/** Why a step could not do its work, though the devices answered. What is left on the rig is told by the run. */
export class StepError extends Error {
  constructor(
    readonly code: string,
    message: string,
    readonly whatToDo: string,
    /** It is not safe to look: the run retreats. */
    readonly unsafe: UnsafeKind | false = false,
    /** What the message tells, for a program to read. */
    readonly figures?: Readonly<Record<string, unknown>>,
  ) {
    super(message);
    this.name = "StepError";
  }
}
