import type { Clock } from "../../../drivers/kit/clock.ts";
import { startStopwatch } from "../../../drivers/kit/stopwatch.ts";
import type { GuardWatch } from "./condition.ts";
import type { RigKeeper } from "./rig-keeper.ts";

const awakeEverySeconds = 2;
/** A busy computer may be late by some seconds; more is a process that stood still [s]. */
const lateSecondsMax = 10;

/**
 * This process was stopped, or so busy that nobody watched over the rig. Noticed as soon as it goes on, and for good: what
 * has happened meanwhile nobody knows.
 */
export function awakeWatch(clock: Clock): GuardWatch {
  let sinceLook = startStopwatch(clock);
  let reason: string | undefined;
  return {
    name: "awake",
    everySeconds: awakeEverySeconds,
    graceSeconds: 0,
    check: async () => {
      const lateSeconds = sinceLook() - awakeEverySeconds;
      sinceLook = startStopwatch(clock);
      if (lateSeconds > lateSecondsMax)
        reason ??= `the agent stood still for ${lateSeconds.toFixed(0)} s, in which nobody watched over the rig`;
      return reason;
    },
  };
}

/** All that were asked to keep the rig have to be there. */
export function keeperWatches(keepers: readonly RigKeeper[]): GuardWatch[] {
  return keepers.map((keeper) => ({
    name: keeper.name,
    everySeconds: 2,
    graceSeconds: 0,
    check: async () => keeper.whyNotAlive(),
  }));
}

/** For the way out into the light. */
export function whyNotKept(keepers: readonly RigKeeper[]): readonly string[] {
  if (keepers.length === 0) return ["nobody would make the rig safe if this process ended"];
  return keepers.map((keeper) => keeper.whyNotAlive()).filter((why) => why !== undefined);
}
