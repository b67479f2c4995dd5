import { letEventsIn } from "../threads/let-events-in.ts";

/** Between two pieces of long work on files: lets a stop be heard. @throws the signal's reason */
export async function hearStop(signal: AbortSignal | undefined): Promise<void> {
  await letEventsIn();
  signal?.throwIfAborted();
}
