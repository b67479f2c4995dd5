import { type Air, airAtElevation } from "./refraction.ts";
import { type GroundSite, sunFromSite } from "./sun-from-site.ts";

/** One pass of the Sun over a site: from one lower culmination to the next. */
export interface SunDay {
  readonly startUtcMs: number;
  readonly transitUtcMs: number;
  readonly endUtcMs: number;
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
  const transitUtcMs = nearestCulmination(utcMs, site);
  const startUtcMs = transitUtcMs - halfDayMs;
  const endUtcMs = transitUtcMs + halfDayMs;
  const day = {
    startUtcMs,
    transitUtcMs,
    endUtcMs,
    transitAltitudeDegrees: sunFromSite(transitUtcMs, site).altitudeDegrees,
  };
  const above = crossings(day, riseTrueAltitudeDegrees, (t) => sunFromSite(t, site).trueAltitudeDegrees);
  return {
    ...day,
    ...(above && above.fromUtcMs > startUtcMs ? { riseUtcMs: above.fromUtcMs } : {}),
    ...(above && above.toUtcMs < endUtcMs ? { setUtcMs: above.toUtcMs } : {}),
  };
}

/** When the disc's centre, with refraction, stands at or above that altitude on the day nearest to an instant. */
export function sunAbove(
  utcMs: number,
  site: GroundSite,
  altitudeDegrees: number,
  air: Air = airAtElevation(site.elevationMetres),
): SunWindow | undefined {
  const transitUtcMs = nearestCulmination(utcMs, site);
  const day = { startUtcMs: transitUtcMs - halfDayMs, transitUtcMs, endUtcMs: transitUtcMs + halfDayMs };
  return crossings(day, altitudeDegrees, (t) => sunFromSite(t, site, air).altitudeDegrees);
}

function nearestCulmination(utcMs: number, site: GroundSite): number {
  let t = utcMs;
  // The hour angle grows by one hour in an hour to within 0.03 %: three rounds leave less than a millisecond.
  for (let round = 0; round < 4; round++) t -= sunFromSite(t, site).hourAngleHours * 3_600_000;
  return t;
}

/** The altitude rises from `start` to `transit` and falls to `end`, so that halving finds each crossing. */
function crossings(
  day: Pick<SunDay, "startUtcMs" | "transitUtcMs" | "endUtcMs">,
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
