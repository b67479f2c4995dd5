import { wrapHours } from "../../drivers/kit/sidereal.ts";
import type { Equatorial } from "../../drivers/roles/mount.ts";
import { sunFromSite } from "../sky/sun-from-site.ts";
import type { SkyOffset } from "../sky/tangent-plane.ts";
import { Aim, distanceArcsec, knownPointingOffset } from "./centre/aim.ts";
import type { Workbench } from "./step.ts";
import { StepError } from "./step-error.ts";
import { sunTrackingRate } from "./sun-tracking-rate.ts";

/** A mount this near the wanted place need not slew [arcsec]. */
const thereArcsec = 120;
/** Nothing of the Sun, and nothing that leaks in beside the tube, is left this far away [degrees]. */
const awayDegrees = [40, 35, 30];
/** Lower places may be behind a mount's limit. */
const altitudeDegreesMin = 20;
const hourAngleHoursMax = 5;

/** The cover is the caller's: closed for every slew. Does nothing on a rig without a mount, or when already there. */
export async function pointAtSun(bench: Workbench, signal: AbortSignal): Promise<void> {
  const { mount } = bench.rig;
  if (!mount) return;
  const aim = new Aim(mount, bench);
  await mount.ensureUnparked(signal);
  await mount.ensureTracking(sunTrackingRate(mount), signal);
  const home = knownPointingOffset(bench);
  if ((await isNear(aim, home, signal)) && !(await aim.mayFlip(home, signal))) return;
  await aim.approachFromSameSide(home, signal);
  bench.note("pointed at the Sun");
}

export async function isPointedAtSun(bench: Workbench, signal: AbortSignal): Promise<boolean> {
  const { mount } = bench.rig;
  if (!mount) return true;
  return isNear(new Aim(mount, bench), knownPointingOffset(bench), signal);
}

/** At least 30 degrees off, above the horizon, on this side of the mount's likely limits. Cover closed first. */
export async function pointOffSun(bench: Workbench, signal: AbortSignal): Promise<void> {
  const { mount } = bench.rig;
  if (!mount) return;
  await mount.ensureUnparked(signal);
  const { raHours, decDegrees, awayDegrees } = positionOffSun(bench.clock.nowMs(), bench.site);
  await mount.slewTo({ raHours, decDegrees }, signal);
  bench.note("pointed off the Sun", { degrees: Math.round(awayDegrees) });
}

async function isNear(aim: Aim, home: SkyOffset, signal: AbortSignal): Promise<boolean> {
  return distanceArcsec(await aim.reported(signal), home) < thereArcsec;
}

/**
 * The highest of the places that far from the Sun along the meridian or along the equator.
 * @throws StepError: there is none, as at night
 */
export function positionOffSun(utcMs: number, site: Workbench["site"]): Equatorial & { awayDegrees: number } {
  const sun = sunFromSite(utcMs, site);
  const places = awayDegrees.flatMap((away) => {
    const hours = away / 15 / Math.max(0.3, Math.cos((sun.decDegrees * Math.PI) / 180));
    const place = (byHours: number, byDegrees: number) => ({
      hourAngleHours: sun.hourAngleHours + byHours,
      decDegrees: sun.decDegrees + byDegrees,
      awayDegrees: away,
    });
    return [place(0, away), place(0, -away), place(hours, 0), place(-hours, 0)];
  });
  const fit = places
    .filter(
      ({ decDegrees, hourAngleHours }) =>
        Math.abs(decDegrees) < 85 && Math.abs(hourAngleHours) < hourAngleHoursMax,
    )
    .map((place) => ({
      raHours: wrapHours(sun.siderealHours - place.hourAngleHours),
      decDegrees: place.decDegrees,
      awayDegrees: place.awayDegrees,
      altitudeDegrees: altitudeOf(place, site.latitudeDegrees),
    }))
    .sort((a, b) => b.altitudeDegrees - a.altitudeDegrees);
  const best = fit.find(({ altitudeDegrees }) => altitudeDegrees >= altitudeDegreesMin) ?? fit[0];
  if (!best)
    throw new StepError(
      "NO_PLACE_OFF_SUN",
      "no place on the sky is far enough from the Sun and within reach",
      "Check the computer's clock, and the site in the rig file.",
    );
  return best;
}

function altitudeOf(place: { hourAngleHours: number; decDegrees: number }, latitudeDegrees: number): number {
  const radians = Math.PI / 180;
  const [h, d, f] = [
    place.hourAngleHours * 15 * radians,
    place.decDegrees * radians,
    latitudeDegrees * radians,
  ];
  return Math.asin(Math.sin(d) * Math.sin(f) + Math.cos(d) * Math.cos(f) * Math.cos(h)) / radians;
}

/** Where the Sun stands now, for what the light of this moment is compared with. */
export function sunAltitudeDegrees(bench: Workbench): number {
  return sunFromSite(bench.clock.nowMs(), bench.site).altitudeDegrees;
}
