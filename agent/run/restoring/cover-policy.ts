import type { Clock } from "../../../drivers/kit/clock.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import { separationDegrees } from "../../sky/separation.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import { filterProblem } from "../guard/sun-filter.ts";

/** Nearer than this the Sun may fall into the telescope or a finder on it [degrees]; common practice, no source. */
const nearSunDegrees = 15;

export interface CoverQuestion {
  readonly rig: Rig;
  readonly rigFile: RigFile;
  readonly clock: Clock;
  /** Why the run had to retreat, if it had. */
  readonly retreatedBecause: readonly string[];
}

/** Whether a cover that was found open may be opened again at the end; the reason when not. */
export async function mayOpenCover(question: CoverQuestion, signal: AbortSignal): Promise<true | string> {
  const { rig, rigFile, clock, retreatedBecause } = question;
  if (retreatedBecause.length > 0) return `it was not safe (${retreatedBecause.join("; ")})`;
  const doubt = filterProblem(rigFile.sunFilter, clock.nowMs());
  if (doubt === undefined) return true;
  const sun = sunFromSite(clock.nowMs(), rigFile.site);
  if (sun.altitudeDegrees < -1) return true;
  if (!rig.mount) return doubt;
  const { pointing } = await rig.mount.state(signal);
  return separationDegrees(pointing, sun) > nearSunDegrees ? true : doubt;
}
