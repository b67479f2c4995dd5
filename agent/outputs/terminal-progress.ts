import type { Progress } from "../procedures/step.ts";

/** Where progress goes. */
export interface ProgressSink {
  readonly live: boolean;
  stderr(text: string, canBeMissed?: "canBeMissed"): void;
}

/** To the line's beginning, and what stands there away. */
export const lineAgain = "\r\u001b[2K";

const barCells = 24;

/** "1:05" or "42 s". */
export function spanText(seconds: number): string {
  const whole = Math.max(0, Math.round(seconds));
  if (whole < 100) return `${whole} s`;
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")} min`;
}

function lineOf(now: Progress): string {
  const fraction = now.of > 0 ? Math.min(1, now.done / now.of) : 0;
  const filled = Math.round(fraction * barCells);
  const bar = "■".repeat(filled) + "·".repeat(barCells - filled);
  const left = now.secondsLeft === undefined ? "" : `  about ${spanText(now.secondsLeft)} left`;
  return `[${now.stepIndex + 1}/${now.stepCount}] ${bar} ${String(now.done).padStart(3)}/${now.of}  ${now.what}${left}`;
}

/**
 * Shows where the work stands: one line that redraws itself on a terminal,
 * elsewhere a new line whenever the work is another or a tenth further.
 */
export function terminalProgress(sink: ProgressSink) {
  let shown = "";
  let lastTenth = -1;
  let lastWhat = "";
  const clear = () => {
    if (sink.live && shown) sink.stderr(lineAgain, "canBeMissed");
    shown = "";
  };
  return {
    update(now: Progress): void {
      const tenth = now.of > 0 ? Math.floor((10 * now.done) / now.of) : 0;
      const what = `${now.stepIndex} ${now.what}`;
      const line = lineOf(now);
      if (sink.live) {
        if (line === shown) return;
        sink.stderr(`${lineAgain}${line}`, "canBeMissed");
        shown = line;
      } else if (what !== lastWhat || tenth !== lastTenth) {
        sink.stderr(`${line}\n`, "canBeMissed");
      }
      lastWhat = what;
      lastTenth = tenth;
    },
    /** A line of its own, above the redrawn one. */
    say(text: string): void {
      clear();
      sink.stderr(`${text}\n`);
    },
    end(): void {
      clear();
    },
  };
}
