import type { z } from "zod";
import { resolveAll } from "../../kit/resolve-all.ts";
import { parseUtcMs } from "../../kit/utc.ts";
import type { Equatorial, PierSide, SiteAndTime, TrackRate } from "../../roles/mount.ts";
import type { MountLook, Stillness } from "../../roles/stillness.ts";
import type { RoleTools } from "../session/alpaca-role.ts";
import { flag, number, text } from "../wire/values.ts";
import { equinoxMsOf, precess } from "./equinox.ts";
import { driveRate, type MountFacts } from "./mount-facts.ts";

export interface MountTools extends RoleTools {
  readonly facts: () => MountFacts;
  readonly stillness: Stillness;
}

/** One look at a mount. */
export interface MountReading {
  /** Of date. */
  readonly pointing: Equatorial;
  /** Slews, parking, homing and axis motion; neither tracking nor guide pulses. */
  readonly slewing: boolean;
  readonly tracking: boolean;
  readonly pulsing: boolean;
  readonly parked: boolean | undefined;
}

export function lookOf({ pointing, slewing, pulsing, tracking }: MountReading): MountLook {
  return { pointing, reportsMotion: slewing || pulsing, tracking };
}

/** By one request where the mount has a device state; what is left out of it is asked for singly. */
export async function readMount(tools: MountTools, signal: AbortSignal): Promise<MountReading> {
  const { device, facts } = tools;
  const state = await device.state(signal);
  const given = <T>(name: string, schema: z.ZodType<T>): T | undefined => {
    const parsed = schema.safeParse(state?.get(name));
    return parsed.success ? parsed.data : undefined;
  };
  const must = async <T>(name: string, schema: z.ZodType<T>) =>
    given(name, schema) ?? device.get(name.toLowerCase(), schema, signal);
  const may = async (name: string) => given(name, flag) ?? device.optional(name.toLowerCase(), flag, signal);
  const { raHours, decDegrees, slewing, tracking, pulsing, parked } = await resolveAll({
    raHours: must("RightAscension", number),
    decDegrees: must("Declination", number),
    slewing: must("Slewing", flag),
    tracking: may("Tracking"),
    pulsing: facts().canPulseGuide ? may("IsPulseGuiding") : false,
    parked: may("AtPark"),
  });
  return {
    pointing: ofDate(tools, { raHours, decDegrees }),
    slewing,
    tracking: tracking ?? false,
    pulsing: pulsing ?? false,
    parked,
  };
}

/** From the mount's equinox to the one of date. */
function ofDate({ clock, facts }: MountTools, place: Equatorial): Equatorial {
  const equinoxMs = equinoxMsOf(facts().equatorialSystem);
  return equinoxMs === undefined ? place : precess(place, equinoxMs, clock.nowMs());
}

/** In the mount's own equinox and inside its range, which ends before 24 hours. */
export function toMountEquinox({ clock, facts }: MountTools, place: Equatorial): Equatorial {
  const equinoxMs = equinoxMsOf(facts().equatorialSystem);
  const own = equinoxMs === undefined ? place : precess(place, clock.nowMs(), equinoxMs);
  const raHours = ((own.raHours % 24) + 24) % 24;
  return { raHours: raHours > 23.9999999999 ? 0 : raHours, decDegrees: own.decDegrees };
}

/** Offsets that somebody left on sidereal make it a rate of its own. */
export async function readTrackRate(tools: MountTools, signal: AbortSignal): Promise<TrackRate | undefined> {
  // Of a slow mount beside the rate, although they are needed at one only.
  const offsets = tools.device.isSlow ? readRateOffsets(tools, signal) : undefined;
  offsets?.catch(() => {});
  const rate = await tools.device.optional("trackingrate", number, signal);
  if (rate === driveRate.solar) return "solar";
  if (rate === driveRate.lunar) return "lunar";
  if (rate !== driveRate.sidereal) return rate === undefined ? undefined : "custom";
  const { ra, dec } = await (offsets ?? readRateOffsets(tools, signal));
  return (ra ?? 0) === 0 && (dec ?? 0) === 0 ? "sidereal" : "custom";
}

/** Right ascension in seconds of it per sidereal second, declination in arcsec per second; `undefined`: not settable. */
export async function readRateOffsets(
  { device, facts }: MountTools,
  signal: AbortSignal,
): Promise<{ ra: number | undefined; dec: number | undefined }> {
  const { canSetRaRate, canSetDecRate } = facts();
  return resolveAll({
    ra: canSetRaRate ? device.optional("rightascensionrate", number, signal) : undefined,
    dec: canSetDecRate ? device.optional("declinationrate", number, signal) : undefined,
  });
}

/** By the standard's numbers: 0 east of the pier, 1 west, -1 unknown. */
export async function readPierSide(
  tools: MountTools,
  at: "now" | Equatorial,
  signal: AbortSignal,
): Promise<PierSide | undefined> {
  const { device, facts } = tools;
  if (facts().neverFlips) return "east";
  if (at === "now") return pierSides[(await device.optional("sideofpier", number, signal)) ?? -1];
  const { raHours, decDegrees } = toMountEquinox(tools, at);
  const place = { RightAscension: raHours, Declination: decDegrees };
  return pierSides[(await device.optional("destinationsideofpier", number, signal, place)) ?? -1];
}

const pierSides: Readonly<Record<number, PierSide>> = { 0: "east", 1: "west" };

export async function readSiteAndTime({ device }: MountTools, signal: AbortSignal): Promise<SiteAndTime> {
  const { latitudeDegrees, longitudeDegrees, elevationMetres, siderealHours, utc } = await resolveAll({
    latitudeDegrees: device.optional("sitelatitude", number, signal),
    longitudeDegrees: device.optional("sitelongitude", number, signal),
    elevationMetres: device.optional("siteelevation", number, signal),
    siderealHours: device.optional("siderealtime", number, signal),
    utc: device.optional("utcdate", text, signal),
  });
  const hasSite = latitudeDegrees !== undefined && longitudeDegrees !== undefined;
  return {
    site:
      hasSite && (latitudeDegrees !== 0 || longitudeDegrees !== 0)
        ? { latitudeDegrees, longitudeDegrees, elevationMetres: elevationMetres ?? 0 }
        : undefined,
    utcMs: parseUtcMs(utc),
    siderealHours,
  };
}
