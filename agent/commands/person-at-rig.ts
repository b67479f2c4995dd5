import type { AskPerson } from "../run/checks/hand-cover.ts";
import { CommandError, exitCodes } from "./outcome.ts";

/** What no device can tell, and what hurts most. Common practice, no source. */
export const finderQuestion =
  "The telescope is about to be turned to the Sun. Is every finder capped or taken off, is the Sun filter fitted over the " +
  "front as its maker says, and will nobody put an eye to the instrument while it runs?";

/**
 * Asks whoever is at the rig, before anything is connected.
 * @throws CommandError when the answer is no; the signal's reason
 */
export async function askBeforeMoving(ask: AskPerson, signal: AbortSignal): Promise<void> {
  if ((await ask(finderQuestion, signal)) === "yes") return;
  throw new CommandError(exitCodes.safety, {
    happened: "You said that the instrument is not ready for the Sun.",
    state: "Nothing was connected and nothing was moved.",
    whatToDo:
      "Cap or take off every finder, look at the filter, keep away from the eyepiece; then start again.",
  });
}
