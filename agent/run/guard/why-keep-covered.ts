import type { RigFile } from "../../../plans/rig-file.ts";
import type { GuardWatch } from "./condition.ts";
import { checkConditionsOnce, type GuardTools } from "./guard.ts";
import { filterProblem } from "./sun-filter.ts";

export interface UncoverQuestion extends GuardTools {
  readonly rigFile: RigFile;
  readonly watches: readonly GuardWatch[];
  /** Seconds since the guard looked at anything last; `undefined` when it does not watch. */
  readonly guardSilentSeconds: number | undefined;
  /** What others have against it, now: the last retreat, the keeper. */
  readonly against: readonly string[];
}

/** The guard looks every 30 s at the longest, and a look may take some time [s]. */
const guardSilentSecondsMax = 90;

/**
 * All that speaks against uncovering the telescope now, looked at anew: each condition of the guard, that the guard is
 * awake, the statement of the Sun filter, and what others have against it.
 */
export async function whyKeepCovered(question: UncoverQuestion): Promise<readonly string[]> {
  const { rigFile, clock, watches, guardSilentSeconds, against } = question;
  const reasons = [...against, ...(await checkConditionsOnce(watches, question))];
  const doubt = filterProblem(rigFile.sunFilter, clock.nowMs());
  if (doubt !== undefined) reasons.push(doubt);
  if (guardSilentSeconds === undefined) reasons.push("the guard does not watch");
  else if (guardSilentSeconds > guardSilentSecondsMax)
    reasons.push(`the guard has not looked for ${guardSilentSeconds.toFixed(0)} s`);
  return reasons;
}
