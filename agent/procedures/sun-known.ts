import { sunTheoriesApartDegrees, theoriesApartMostDegrees } from "../sky/sun-second-theory.ts";
import { StepError } from "./step-error.ts";

/**
 * Before a mount is sent to where the ephemeris has the Sun: a second theory must have it there too.
 * @throws StepError when they differ, which is a fault of ours or of a package, never of the rig
 */
export function checkSunKnown(utcMs: number, theoriesApartDegrees = sunTheoriesApartDegrees): void {
  const apart = theoriesApartDegrees(utcMs);
  if (apart <= theoriesApartMostDegrees) return; // and not what is no number
  throw new StepError(
    "SUN_PLACE_UNSURE",
    `two independent theories put the Sun ${apart.toFixed(3)} degrees apart, more than ${theoriesApartMostDegrees}`,
    "Compare `evenfield sun` with an almanac and reinstall the program's packages; until both agree nothing points at the Sun.",
  );
}
