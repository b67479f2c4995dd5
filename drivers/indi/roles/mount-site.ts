import { turnDegrees } from "../../kit/angles.ts";
import { parseUtcMs } from "../../kit/utc.ts";
import type { Site, SiteAndTime } from "../../roles/mount.ts";
import type { RoleTools } from "../session/indi-role.ts";
import { numberIn, textIn } from "../wire/property.ts";

/** TIME_UTC in many drivers is what they were last told, not a clock: only one that moves is believed. */
const clockLookSeconds = 2;

export async function readSiteAndTime(tools: RoleTools, signal: AbortSignal): Promise<SiteAndTime> {
  const site = await readSite(tools, signal);
  const utcMs = await readClock(tools, signal);
  return { site, utcMs, siderealHours: await readSidereal(tools, signal) };
}

async function readSidereal({ device }: RoleTools, signal: AbortSignal): Promise<number | undefined> {
  if (!device.property("TIME_LST")) return undefined;
  const hours = numberIn(await device.refresh("TIME_LST", {}, signal), "LST");
  return hours !== undefined && Number.isFinite(hours) ? hours : undefined;
}

async function readSite({ device }: RoleTools, signal: AbortSignal): Promise<Site | undefined> {
  if (!device.property("GEOGRAPHIC_COORD")) return undefined;
  const vector = await device.refresh("GEOGRAPHIC_COORD", {}, signal);
  const latitudeDegrees = numberIn(vector, "LAT");
  const longitude = numberIn(vector, "LONG");
  if (latitudeDegrees === undefined || longitude === undefined) return undefined;
  if (!Number.isFinite(latitudeDegrees) || !Number.isFinite(longitude)) return undefined;
  if (latitudeDegrees === 0 && longitude === 0) return undefined; // a driver that was never told its site
  const elevation = numberIn(vector, "ELEV");
  return {
    latitudeDegrees,
    // East from 0 to 360 by the standard, but -10 is accepted and echoed as -10.
    longitudeDegrees: turnDegrees(0, longitude),
    elevationMetres: elevation !== undefined && Number.isFinite(elevation) ? elevation : 0,
  };
}

async function readClock({ device, clock }: RoleTools, signal: AbortSignal): Promise<number | undefined> {
  if (!device.property("TIME_UTC")) return undefined;
  const read = async () => parseUtcMs(textIn(await device.refresh("TIME_UTC", {}, signal), "UTC"));
  const first = await read();
  await clock.sleep(clockLookSeconds, signal);
  const second = await read();
  return first === undefined || second === undefined || second <= first ? undefined : second;
}
