import { OutOfLimitsError, ReadbackError, RefusedError } from "../kit/errors.ts";
import { wrapHours } from "../kit/sidereal.ts";
import type { Equatorial, MountOptions } from "./mount.ts";
import { distanceDegrees, type SkyOffset } from "./mount-sky.ts";

export interface SlewBudget {
  /** Slowest that the mount slews at, for the deadline [degrees/s]. */
  readonly degreesPerSecondMin: number;
  /** How near the target counts as arrived [arcsec]. */
  readonly toleranceArcsec: number;
}

/** An arrival further off than this is worth a second, short slew [arcsec]. */
const refineArcsec = 60;

export function slewBudgetOf(options: MountOptions): SlewBudget {
  return {
    degreesPerSecondMin: options.slewDegreesPerSecondMin ?? 0.5,
    toleranceArcsec: (options.arrivalArcmin ?? 5) * 60,
  };
}

/** Worst time for half a turn at the slowest, with margin for homing [s]. */
export function parkSecondsMax(budget: SlewBudget): number {
  return 120 + 180 / budget.degreesPerSecondMin;
}

/** @returns the target with its right ascension in [0, 24) hours @throws OutOfLimitsError */
export function checkSlewTarget(device: string, { raHours, decDegrees }: Equatorial): Equatorial {
  if (Number.isFinite(raHours) && Math.abs(decDegrees) <= 90)
    return { raHours: wrapHours(raHours), decDegrees };
  throw new OutOfLimitsError(device, "slew target", `${raHours} h, ${decDegrees} degrees`, "the sky");
}

/** @throws OutOfLimitsError */
export function checkNudge(device: string, { eastArcsec, northArcsec }: SkyOffset): void {
  if (Number.isFinite(eastArcsec) && Number.isFinite(northArcsec)) return;
  throw new OutOfLimitsError(device, "nudge", `${eastArcsec}, ${northArcsec}`, "finite arcseconds");
}

/**
 * A long slew may end minutes of arc off; a second, short one ends nearer. Not getting nearer is no failure.
 * @throws ReadbackError if the mount then points outside its tolerance
 */
export async function refineSlew(
  mount: {
    readonly device: string;
    readonly budget: SlewBudget;
    slew(budget: SlewBudget): Promise<unknown>;
    readPointing(): Promise<Equatorial>;
  },
  target: Equatorial,
  reached: Equatorial,
): Promise<void> {
  const { device, budget } = mount;
  const offArcsec = distanceDegrees(reached, target) * 3600;
  if (!(offArcsec > refineArcsec)) return;
  try {
    await mount.slew({ ...budget, toleranceArcsec: offArcsec * 0.3 });
  } catch (error) {
    if (!(error instanceof ReadbackError || error instanceof RefusedError)) throw error;
  }
  if (distanceDegrees(await mount.readPointing(), target) * 3600 > budget.toleranceArcsec)
    throw new ReadbackError(device, "pointing", "within tolerance of the target", "outside it");
}

export function placeText({ raHours, decDegrees }: Equatorial): string {
  return `RA ${raHours.toFixed(4)} h, declination ${decDegrees.toFixed(3)} degrees`;
}
