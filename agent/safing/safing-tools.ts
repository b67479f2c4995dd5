import type { Clock } from "../../drivers/kit/clock.ts";
import type { Log } from "../../drivers/kit/log.ts";
import type { Equatorial, Site } from "../../drivers/roles/mount.ts";
import type { SkyOffset } from "../../drivers/roles/mount-sky.ts";
import type { Rig } from "../../drivers/roles/rig.ts";
import type { Front } from "./front.ts";

interface LightRate {
  /** Upper edge above the pedestal per second of exposure, at the lowest gain. */
  readonly edgeAduPerSecond: number;
  readonly pedestalAdu: number;
}

/** What is known of the light that an uncovered frame would show. */
export interface KnownLight {
  readonly lightRate: { readonly none?: LightRate; readonly diffuser?: LightRate };
  /** Of the last frame with light in it, while the Sun is not centred yet. */
  readonly lightSeen?: LightRate;
  readonly topCodeAdu?: number;
  /** Where the telescope really points minus where the mount says. */
  readonly pointingError?: SkyOffset;
  /** The Sun was centred in this run, so that the two above are of today. */
  readonly sunPointing?: Equatorial;
}

/** What safing works with; a step's bench is one. */
export interface SafingTools {
  readonly rig: Rig;
  readonly site: Site;
  readonly clock: Clock;
  readonly log: Log;
  readonly front: Front;
  readonly findings: KnownLight;
}
