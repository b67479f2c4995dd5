/** Why the Sun is not centred. What is left on the rig is told by the run, which reads it back. */
export abstract class CentreError extends Error {
  abstract readonly code: string;
  abstract readonly whatToDo: string;
  constructor(message: string, options?: ErrorOptions) {
    super(message, options);
    this.name = new.target.name;
  }
}

export class SunTooLowError extends CentreError {
  override readonly code = "SUN_TOO_LOW";
  override readonly whatToDo =
    "Run later in the day, or lower `limits.sunAltitudeDegreesMin` in the rig file.";
  constructor(altitudeDegrees: number, minDegrees: number) {
    super(`the Sun stands at ${altitudeDegrees.toFixed(1)}°, below the limit of ${minDegrees}°`);
  }
}

/** The only one after which the run retreats. */
export class TooBrightError extends CentreError {
  override readonly code = "SUN_TOO_BRIGHT";
  override readonly whatToDo =
    "Look at the Sun filter before anything is uncovered again. Never look through the instrument or its finder to check; follow the filter maker's guidance.";
  constructor(readonly seen: { what: string; exposureSeconds: number }) {
    super(
      `the picture is far too bright: ${seen.what} at ${seen.exposureSeconds} s; the Sun filter may be missing`,
    );
  }
}

export class SunNotFoundError extends CentreError {
  override readonly code = "SUN_NOT_FOUND";
  override readonly whatToDo =
    "Check site, time and the mount's alignment, clouds, the cover and the filter slot; widen `searchDegrees` in the plan.";
  constructor(seen: { placeCount: number; searchDegrees: number; brightest: string }) {
    super(
      `no limb of the Sun at ${seen.placeCount} places within ${seen.searchDegrees}° of the expected one (${seen.brightest})`,
    );
  }
}

export class FrameTooSmallError extends CentreError {
  override readonly code = "FRAME_TOO_SMALL";
  override readonly whatToDo = "Use a larger camera region, less focal length, or no binning.";
}

export class NotCentredError extends CentreError {
  override readonly code = "NOT_CENTRED";
  override readonly whatToDo =
    "Look for a loose axis, a pointing limit or strong backlash; or allow a larger `toleranceFraction` in the plan.";
}
