import { StepError } from "../step-error.ts";

/** Why the Sun is not centred. What is left on the rig is told by the run, which reads it back. */

/** The only one after which the run retreats. */
export class TooBrightError extends StepError {
  constructor(seen: { what: string; exposureSeconds: number }) {
    super(
      "SUN_TOO_BRIGHT",
      `the picture is far too bright: ${seen.what} at ${seen.exposureSeconds} s; the Sun filter may be missing`,
      "Look at the Sun filter before anything is uncovered again. Never look through the instrument or its finder to check; follow the filter maker's guidance and local rules.",
      "brightness",
    );
  }
}

export class SunNotFoundError extends StepError {
  constructor(seen: {
    placeCount: number;
    searchDegrees: number;
    brightest: string;
    /** A disc of the wrong size. */
    other?: { radiusPx: number; expectedPx: number } | undefined;
  }) {
    const { other } = seen;
    const otherText = other
      ? `; a disc of ${other.radiusPx.toFixed(0)} px radius is in view, where ${other.expectedPx.toFixed(0)} px are expected`
      : "";
    super(
      "SUN_NOT_FOUND",
      `no limb of the Sun at ${seen.placeCount} place${seen.placeCount === 1 ? "" : "s"} within ${seen.searchDegrees}° of the expected one (${seen.brightest})${otherText}`,
      other
        ? `Check focal length, reducers and pixel size: the disc is ${(other.radiusPx / other.expectedPx).toFixed(2)} times as large as the rig file makes it.`
        : "Check site, time and the mount's alignment, clouds, the cover and the filter slot; or widen `searchDegrees` in the plan.",
    );
  }
}

export class FrameTooSmallError extends StepError {
  constructor(message: string) {
    super("FRAME_TOO_SMALL", message, "Use a larger camera region, less focal length, or no binning.");
  }
}

export class NotCentredError extends StepError {
  constructor(message: string) {
    super(
      "NOT_CENTRED",
      message,
      "Look for a loose axis, a pointing limit or strong backlash; or allow a larger `toleranceFraction` in the plan.",
    );
  }
}
