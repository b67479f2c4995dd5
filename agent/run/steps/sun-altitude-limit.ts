import type { Plan } from "../../../plans/plan-file.ts";
import type { RigFile } from "../../../plans/rig-file.ts";

/** The limit that holds [degrees]: the higher of the plan's and the rig's. */
export function sunAltitudeLimit({ plan, rigFile }: { plan: Plan; rigFile: RigFile }): number {
  return Math.max(plan.sun.altitudeDegreesMin, rigFile.limits.sunAltitudeDegreesMin);
}
