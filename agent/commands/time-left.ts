import { given } from "../../drivers/kit/given.ts";
import { startStopwatch } from "../../drivers/kit/stopwatch.ts";
import { terminalProgress } from "../outputs/terminal-progress.ts";
import type { CommandHost } from "./outcome.ts";

/** One line of progress on stderr, with the time left once enough is done to tell. */
export function progressWithTimeLeft(host: CommandHost, what: string) {
  const line = terminalProgress(host);
  const elapsedSeconds = startStopwatch(host.clock);
  return {
    update(done: number, of: number): void {
      const secondsLeft = timeLeftSeconds(elapsedSeconds(), { done, of });
      line.update({ stepIndex: 0, stepCount: 1, what, done, of, ...given({ secondsLeft }) });
    },
    say: (text: string) => line.say(text),
    end: () => line.end(),
  };
}

function timeLeftSeconds(
  passedSeconds: number,
  { done, of }: { done: number; of: number },
): number | undefined {
  return done === 0 || passedSeconds < 1 ? undefined : (passedSeconds * (of - done)) / done;
}
