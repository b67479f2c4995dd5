import type { Clock } from "../../../drivers/kit/clock.ts";
import type { GuardWatch } from "./condition.ts";

/** In this time the sky turns by 75″, which centring would not notice; clocks are corrected by less without a step [s]. */
const stepSecondsMax = 5;

/**
 * The wall clock says where the Sun is. Set in mid-run, it was wrong before or is now, and with it the Sun's place,
 * its altitude and the slews made by them. Counted from the call on, and for good: time does not make it right.
 */
export function clockWatch(clock: Clock): GuardWatch {
  const wallAheadSeconds = () => clock.nowMs() / 1000 - clock.monotonicSeconds();
  let before = wallAheadSeconds();
  let reason: string | undefined;
  return {
    name: "clock",
    everySeconds: 10,
    graceSeconds: 0,
    check: async () => {
      const now = wallAheadSeconds();
      const stepSeconds = now - before;
      before = now;
      if (Math.abs(stepSeconds) > stepSecondsMax) {
        const way = stepSeconds > 0 ? "forward" : "back";
        reason =
          `the computer's clock was set ${way} by ${stepText(Math.abs(stepSeconds))} in mid-run: ` +
          `the Sun was looked for by a wrong time before it, or would be from now on`;
      }
      return reason;
    },
  };
}

function stepText(seconds: number): string {
  return seconds < 600 ? `${seconds.toFixed(0)} s` : `${(seconds / 3600).toFixed(2)} h`;
}
