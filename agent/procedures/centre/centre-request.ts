import type { Equatorial } from "../../../drivers/roles/mount.ts";
import type { CameraOnSky, PointingError } from "../findings.ts";

/** What the plan and the rig file say of a `centre` step. */
export interface CentreRequest {
  /** How near the disc's centre comes to the middle of the frame, as a fraction of the disc's diameter. */
  readonly toleranceFraction: number;
  /** How far from the expected place the search may go. */
  readonly searchDegrees: number;
  /** Nothing is pointed at a lower Sun. */
  readonly sunAltitudeDegreesMin: number;
  /** A frame this many times brighter than the rig's history means that the Sun filter is missing. */
  readonly brightnessTripFactor: number;
  /** Highest upper edge per second of exposure at the lowest gain that the rig file allows, if it says so. */
  readonly edgeAduPerSecondMax?: number;
  /** How the front cover is left when the Sun is centred. */
  readonly coverAfter: "open" | "closed";
}

export interface CentreFound {
  /** Distance of the disc's centre from the middle of the frame, as a fraction of the disc's diameter. */
  readonly offsetFraction: number;
  /** One sigma of it. */
  readonly uncertaintyFraction: number;
  readonly discRadiusPx: number;
  /** `limb-walk`: the disc is larger than the frame, its opposite limbs were measured instead. */
  readonly way: "closed-loop" | "limb-walk";
  readonly cameraOnSky: CameraOnSky;
  readonly pointingError: PointingError;
  readonly sunPointing: Equatorial;
  readonly exposureSeconds: number;
  readonly frameCount: number;
  readonly moveCount: number;
  /** How far from the expected place the Sun was. */
  readonly searchedDegrees: number;
}
