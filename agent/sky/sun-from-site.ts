import { Body, Equator, Horizon, Observer, SiderealTime } from "astronomy-engine";
import { type Air, airAtElevation, refractionDegrees } from "./refraction.ts";
import { libraryTime, semidiameterArcsec } from "./sun-place.ts";

/** Where the telescope stands. East longitude is positive. */
export interface GroundSite {
  readonly latitudeDegrees: number;
  readonly longitudeDegrees: number;
  readonly elevationMetres: number;
}

/** Where the Sun is as seen from a site. */
export interface SunFromSite {
  /** Topocentric apparent place of date. */
  readonly raHours: number;
  readonly decDegrees: number;
  readonly distanceAu: number;
  readonly semidiameterArcsec: number;
  /** Of the disc's centre, without air. */
  readonly trueAltitudeDegrees: number;
  /** Of the disc's centre, lifted by refraction: where a telescope sees it. */
  readonly altitudeDegrees: number;
  /** From north through east. */
  readonly azimuthDegrees: number;
  /** Topocentric, -12 to 12, positive after the meridian. */
  readonly hourAngleHours: number;
  /** Apparent sidereal time at the site. */
  readonly siderealHours: number;
}

/** @param air defaults to standard pressure for the site's height, 10 degrees Celsius */
export function sunFromSite(
  utcMs: number,
  site: GroundSite,
  air: Air = airAtElevation(site.elevationMetres),
): SunFromSite {
  const time = libraryTime(utcMs);
  const observer = new Observer(site.latitudeDegrees, site.longitudeDegrees, site.elevationMetres);
  const { ra, dec, dist } = Equator(Body.Sun, time, observer, true, true);
  const horizon = Horizon(time, observer, ra, dec); // no refraction asked: ours knows the pressure
  const siderealHours = wrap(SiderealTime(time) + site.longitudeDegrees / 15, 24);
  return {
    raHours: ra,
    decDegrees: dec,
    distanceAu: dist,
    semidiameterArcsec: semidiameterArcsec(dist),
    trueAltitudeDegrees: horizon.altitude,
    altitudeDegrees: horizon.altitude + refractionDegrees(horizon.altitude, air),
    azimuthDegrees: horizon.azimuth,
    hourAngleHours: wrap(siderealHours - ra + 12, 24) - 12,
    siderealHours,
  };
}

function wrap(value: number, period: number): number {
  return ((value % period) + period) % period;
}
