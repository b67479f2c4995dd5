import type { Clock } from "../../../drivers/kit/clock.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import { isSunUp, nearSunDegrees, sunSeparationDegrees } from "../../safing/off-sun.ts";
import { filterProblem } from "../guard/sun-filter.ts";

export interface CoverQuestion {
  readonly rig: Rig;
  readonly rigFile: RigFile;
  readonly clock: Clock;
  /** Why the run had to retreat, if it had. */
  readonly retreatedBecause: readonly string[];
}

/** Why a cover that was found open may not be opened again at the end. */
export async function whyLeaveCovered(
  question: CoverQuestion,
  signal: AbortSignal,
): Promise<readonly string[]> {
  const { rig, rigFile, clock, retreatedBecause } = question;
  if (retreatedBecause.length > 0) return [`it was not safe (${retreatedBecause.join("; ")})`];
  const doubt = filterProblem(rigFile.sunFilter, clock.nowMs());
  if (doubt === undefined || !isSunUp(rigFile.site, clock.nowMs())) return [];
  if (!rig.mount) return [doubt];
  const { pointing } = await rig.mount.state(signal);
  const off = sunSeparationDegrees(pointing, rigFile.site, clock.nowMs());
  return off > nearSunDegrees ? [] : [doubt];
}
