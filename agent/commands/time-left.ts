import type { Clock } from "../../drivers/kit/clock.ts";
import { given } from "../../drivers/kit/given.ts";
import { terminalProgress } from "../outputs/terminal-progress.ts";
import type { CommandHost } from "./outcome.ts";

/** One line of progress on stderr, with the time left once enough is done to tell. */
export function progressWithTimeLeft(host: CommandHost, what: string) {
  const line = terminalProgress(host);
  const startedMs = host.clock.nowMs();
  return {
    update(done: number, of: number): void {
      const secondsLeft = timeLeftSeconds(host.clock, { startedMs, done, of });
      line.update({ stepIndex: 0, stepCount: 1, what, done, of, ...given({ secondsLeft }) });
    },
    say: (text: string) => line.say(text),
    end: () => line.end(),
  };
}

function timeLeftSeconds(
  clock: Clock,
  { startedMs, done, of }: { startedMs: number; done: number; of: number },
): number | undefined {
  const passedSeconds = (clock.nowMs() - startedMs) / 1000;
  return done === 0 || passedSeconds < 1 ? undefined : (passedSeconds * (of - done)) / done;
}
