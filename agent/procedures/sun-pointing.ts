import { sunFromSite } from "../sky/sun-from-site.ts";
import { Aim } from "./centre/aim.ts";
import type { Workbench } from "./step.ts";

/** A mount this near the wanted place need not slew [arcsec]. */
const thereArcsec = 120;
/** Nothing of the Sun, and nothing that leaks in beside the tube, is left this far away [degrees]. */
const awayDegrees = [40, 35, 30];
/** Lower places may be behind a mount's limit. */
const altitudeDegreesMin = 20;
const hourAngleHoursMax = 5;

/** Where the mount must say that it points for the Sun to be centred, as far as is known; from the ephemeris' Sun. */
export function knownPointingOffset({ findings }: Workbench): { eastArcsec: number; northArcsec: number } {
  const error = findings.pointingError;
  return { eastArcsec: -(error?.eastArcsec ?? 0), northArcsec: -(error?.northArcsec ?? 0) };
}

/** The cover is the caller's: closed for every slew. Does nothing on a rig without a mount, or when already there. */
export async function pointAtSun(bench: Workbench, signal: AbortSignal): Promise<void> {
  const { mount } = bench.rig;
  if (!mount) return;
  const aim = new Aim(mount, bench.clock, bench.site);
  await mount.ensureUnparked(signal);
  await mount.ensureTracking("solar", signal);
  const home = knownPointingOffset(bench);
  if (await isNear(aim, home, signal)) return;
  await aim.slewFromSameSide(home, signal);
  bench.note("pointed at the Sun");
}

export async function isPointedAtSun(bench: Workbench, signal: AbortSignal): Promise<boolean> {
  const { mount } = bench.rig;
  if (!mount) return true;
  return isNear(new Aim(mount, bench.clock, bench.site), knownPointingOffset(bench), signal);
}

/** At least 30 degrees off, above the horizon, on this side of the mount's likely limits. Cover closed first. */
export async function pointOffSun(bench: Workbench, signal: AbortSignal): Promise<void> {
  const { mount } = bench.rig;
  if (!mount) return;
  await mount.ensureUnparked(signal);
  const place = positionOffSun(bench.clock.nowMs(), bench.site);
  await mount.slewTo({ raHours: place.raHours, decDegrees: place.decDegrees }, signal);
  bench.note("pointed off the Sun", { degrees: Math.round(place.awayDegrees) });
}

async function isNear(aim: Aim, home: { eastArcsec: number; northArcsec: number }, signal: AbortSignal) {
  const { eastArcsec, northArcsec } = await aim.reported(signal);
  return Math.hypot(eastArcsec - home.eastArcsec, northArcsec - home.northArcsec) < thereArcsec;
}

/** The highest of the places that far from the Sun along the meridian or along the equator. */
export function positionOffSun(
  utcMs: number,
  site: Workbench["site"],
): { raHours: number; decDegrees: number; altitudeDegrees: number; awayDegrees: number } {
  const sun = sunFromSite(utcMs, site);
  const places = awayDegrees.flatMap((away) => {
    const hours = away / 15 / Math.max(0.3, Math.cos((sun.decDegrees * Math.PI) / 180));
    return [
      { hourAngleHours: sun.hourAngleHours, decDegrees: sun.decDegrees + away, awayDegrees: away },
      { hourAngleHours: sun.hourAngleHours, decDegrees: sun.decDegrees - away, awayDegrees: away },
      { hourAngleHours: sun.hourAngleHours + hours, decDegrees: sun.decDegrees, awayDegrees: away },
      { hourAngleHours: sun.hourAngleHours - hours, decDegrees: sun.decDegrees, awayDegrees: away },
    ];
  });
  const fit = places
    .filter(
      ({ decDegrees, hourAngleHours }) =>
        Math.abs(decDegrees) < 85 && Math.abs(hourAngleHours) < hourAngleHoursMax,
    )
    .map((place) => ({
      raHours: wrap(sun.siderealHours - place.hourAngleHours, 24),
      decDegrees: place.decDegrees,
      awayDegrees: place.awayDegrees,
      altitudeDegrees: altitudeOf(place, site.latitudeDegrees),
    }))
    .sort((a, b) => b.altitudeDegrees - a.altitudeDegrees);
  const best = fit.find(({ altitudeDegrees }) => altitudeDegrees >= altitudeDegreesMin) ?? fit[0];
  if (!best) throw new Error("no place on the sky is far enough from the Sun and within reach");
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

function wrap(value: number, period: number): number {
  return ((value % period) + period) % period;
}

/** Where the Sun stands now, for what the light of this moment is compared with. */
export function sunAltitudeDegrees(bench: Workbench): number {
  return sunFromSite(bench.clock.nowMs(), bench.site).altitudeDegrees;
}
