import type { Device } from "../../../drivers/roles/device.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import type { GuardWatch } from "./condition.ts";
import { checkConditionsOnce, type GuardTools } from "./guard.ts";
import { filterProblem } from "./sun-filter.ts";

export interface UncoverQuestion extends GuardTools {
  readonly rig: Pick<Rig, "cover" | "mount">;
  readonly rigFile: RigFile;
  readonly watches: readonly GuardWatch[];
  /** Seconds since the guard looked at anything last; `undefined` when it does not watch. */
  readonly guardSilentSeconds: number | undefined;
  /** What others have against it, now: the last retreat, the keeper. */
  readonly against: readonly string[];
}

/** The guard looks every 30 s at the longest, and a look may take some time [s]. */
const guardSilentSecondsMax = 90;

/** A retreat takes several answers of cover and mount, and has to be over in half a minute [s]. */
const roundTripSecondsMax = 5;

function speedWatch(device: Device, graceSeconds: number): GuardWatch {
  return {
    name: `answers of the ${device.role}`,
    everySeconds: 5,
    graceSeconds,
    check: async (signal) => {
      // Without fresh answers one late one would be remembered for as long as nobody asks.
      await device.isAlive(signal);
      const { roundTripSeconds } = device;
      if (roundTripSeconds <= roundTripSecondsMax) return undefined;
      return `${device.name}: answers take ${roundTripSeconds.toFixed(1)} s, too long for a retreat in time (${roundTripSecondsMax} s at most)`;
    },
  };
}

/**
 * All that speaks against uncovering the telescope now, looked at anew: each condition of the guard, that the guard is
 * awake, the statement of the Sun filter, and what others have against it.
 */
export async function whyKeepCovered(question: UncoverQuestion): Promise<readonly string[]> {
  const { rig, rigFile, clock, watches, guardSilentSeconds, against } = question;
  const { silenceSecondsMax } = rigFile.limits;
  const speed = [rig.cover, rig.mount]
    .filter((device) => device !== undefined)
    .map((device) => speedWatch(device, silenceSecondsMax));
  const reasons = [...against, ...(await checkConditionsOnce([...watches, ...speed], question))];
  const doubt = filterProblem(rigFile.sunFilter, clock.nowMs());
  if (doubt !== undefined) reasons.push(doubt);
  if (guardSilentSeconds === undefined) reasons.push("the guard does not watch");
  else if (guardSilentSeconds > guardSilentSecondsMax)
    reasons.push(`the guard has not looked for ${guardSilentSeconds.toFixed(0)} s`);
  return reasons;
}
