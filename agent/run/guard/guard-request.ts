import type { Clock } from "../../../drivers/kit/clock.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import type { StepFindings } from "../../procedures/findings.ts";
import type { Front } from "../../safing/front.ts";

/** What the guard watches over, and what it knows of the run. */
export interface GuardRequest {
  readonly rig: Rig;
  readonly front: Front;
  readonly rigFile: RigFile;
  readonly clock: Clock;
  readonly sunAltitudeDegreesMin: number;
  readonly freeDiskMegabytes: () => number;
  readonly findings: StepFindings;
  /** Whether the Sun matters yet: a plan may begin by waiting for it. */
  readonly looking: () => boolean;
  /** Whether the step under way is still looking for the Sun, when being somewhat off it is no fault. */
  readonly searching: () => boolean;
  /** As far from the expected place as the plan's widest search may go. */
  readonly searchDegrees: number;
}
