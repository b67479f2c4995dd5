import { type Air, airAtElevation } from "./refraction.ts";
import { type GroundSite, sunFromSite } from "./sun-from-site.ts";

interface Pass {
  readonly startUtcMs: number;
  readonly transitUtcMs: number;
  readonly endUtcMs: number;
}

/** One pass of the Sun over a site: from one lower culmination to the next. */
export interface SunDay extends Pass {
  /** Highest altitude of the disc's centre, with refraction. */
  readonly transitAltitudeDegrees: number;
  /** Upper limb on a level horizon (centre at -0.8333 degrees without air); absent when it stays up or down. */
  readonly riseUtcMs?: number;
  readonly setUtcMs?: number;
}

/** When the Sun stands at or above an altitude during one pass; `undefined`: not at all. */
export interface SunWindow {
  readonly fromUtcMs: number;
  readonly toUtcMs: number;
}

/** Half a mean solar day; the equation of time moves culminations by less than 20 s from one day to the next. */
const halfDayMs = 43_200_000;
/** Common convention: 34 arcmin of refraction and 16 of semidiameter. */
const riseTrueAltitudeDegrees = -0.8333;

/** The pass whose transit is nearest to that instant. */
export function sunDay(utcMs: number, site: GroundSite): SunDay {
  const pass = nearestPass(utcMs, site);
  const above = crossings(pass, riseTrueAltitudeDegrees, (t) => sunFromSite(t, site).trueAltitudeDegrees);
  return {
    ...pass,
    transitAltitudeDegrees: sunFromSite(pass.transitUtcMs, site).altitudeDegrees,
    ...(above && above.fromUtcMs > pass.startUtcMs ? { riseUtcMs: above.fromUtcMs } : {}),
    ...(above && above.toUtcMs < pass.endUtcMs ? { setUtcMs: above.toUtcMs } : {}),
  };
}

/** When the disc's centre, with refraction, stands at or above that altitude on the day nearest to an instant. */
export function sunAbove(
  utcMs: number,
  site: GroundSite,
  altitudeDegrees: number,
  air: Air = airAtElevation(site.elevationMetres),
): SunWindow | undefined {
  const pass = nearestPass(utcMs, site);
  return crossings(pass, altitudeDegrees, (t) => sunFromSite(t, site, air).altitudeDegrees);
}

function nearestPass(utcMs: number, site: GroundSite): Pass {
  let t = utcMs;
  // The hour angle grows by one hour in an hour to within 0.03 %: three rounds leave less than a millisecond.
  for (let round = 0; round < 4; round++) t -= sunFromSite(t, site).hourAngleHours * 3_600_000;
  return { startUtcMs: t - halfDayMs, transitUtcMs: t, endUtcMs: t + halfDayMs };
}

/** The altitude rises from `start` to `transit` and falls to `end`, so that halving finds each crossing. */
function crossings(
  day: Pass,
  altitudeDegrees: number,
  altitudeAt: (utcMs: number) => number,
): SunWindow | undefined {
  if (altitudeAt(day.transitUtcMs) < altitudeDegrees) return undefined;
  const edge = (lowUtcMs: number) => {
    if (altitudeAt(lowUtcMs) >= altitudeDegrees) return lowUtcMs;
    let low = lowUtcMs;
    let high = day.transitUtcMs;
    while (Math.abs(high - low) > 10) {
      const middle = (low + high) / 2;
      if (altitudeAt(middle) >= altitudeDegrees) high = middle;
      else low = middle;
    }
    return high;
  };
  return { fromUtcMs: edge(day.startUtcMs), toUtcMs: edge(day.endUtcMs) };
}
