import { altitudeDegrees, type Site, wrapDegrees } from "../sun/sun-place.ts";
import type { AxisRates } from "./mount-rates.ts";

export interface MountLimits {
  readonly altitudeDegreesMin: number;
  readonly hourAngleHoursMax: number;
}

export interface AxisAngles {
  readonly hourAngleDegrees: number;
  readonly decDegrees: number;
}

/** Why the mount may not point there, or undefined. */
export function whyOutside(limits: MountLimits, site: Site, at: AxisAngles): string | undefined {
  const hours = wrapDegrees(at.hourAngleDegrees) / 15;
  if (Math.abs(hours) > limits.hourAngleHoursMax) {
    return `hour angle ${hours.toFixed(2)} h is beyond the limit of ${limits.hourAngleHoursMax} h`;
  }
  const altitude = altitudeDegrees(site, at.hourAngleDegrees, at.decDegrees);
  if (altitude >= limits.altitudeDegreesMin) return undefined;
  return `altitude ${altitude.toFixed(1)} degrees is below the limit of ${limits.altitudeDegreesMin} degrees`;
}

/**
 * How long steady motion stays inside the limits [s, to 0.02]; undefined: for the next 12 hours, or it is outside
 * already. Looks minute by minute, so it is meant for tracking, not for slews.
 */
export function secondsInside(
  limits: MountLimits,
  site: Site,
  at: AxisAngles,
  rates: AxisRates,
): number | undefined {
  const outsideAfter = (seconds: number) =>
    whyOutside(limits, site, {
      hourAngleDegrees: at.hourAngleDegrees + rates.ha * seconds,
      decDegrees: at.decDegrees + rates.dec * seconds,
    }) !== undefined;
  if (rates.ha === 0 || outsideAfter(0)) return undefined;
  for (let minute = 1; minute <= 720; minute++) {
    if (!outsideAfter(minute * 60)) continue;
    let [inside, outside] = [minute * 60 - 60, minute * 60];
    while (outside - inside > 0.02) {
      const middle = (inside + outside) / 2;
      if (outsideAfter(middle)) outside = middle;
      else inside = middle;
    }
    return outside;
  }
  return undefined;
}
