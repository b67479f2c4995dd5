import { ReadbackError } from "../kit/errors.ts";
import { wrapHours } from "../kit/sidereal.ts";
import type { SettingValue } from "../roles/device.ts";
import type { Equatorial, Mount } from "../roles/mount.ts";
import { distanceDegrees } from "../roles/mount-sky.ts";
import { ensureProperty, type KeptSetting, type Property, propertySetting } from "./kept-setting.ts";
import { driveRate } from "./mount-facts.ts";
import { type MountTools, readRateOffsets } from "./mount-reading.ts";
import { number, whole } from "./values.ts";

/** How far off a pointing that was put back may be [degrees]. */
const toleranceDegrees = 0.08;

export const trackingRate: Property<number> = {
  member: "trackingrate",
  parameter: "TrackingRate",
  schema: whole,
};
const raOffset: Property<number> = {
  member: "rightascensionrate",
  parameter: "RightAscensionRate",
  schema: number,
  tolerance: 1e-6,
};
const decOffset: Property<number> = {
  member: "declinationrate",
  parameter: "DeclinationRate",
  schema: number,
  tolerance: 1e-5,
};

/** What the settings need of a mount beside its role. */
export interface SettableMount extends Mount {
  switchTracking(on: boolean, signal: AbortSignal): Promise<void>;
}

/**
 * In an order in which they can be put back: rates first, then the place, then tracking, and parking at the end.
 * A mount that tracks keeps its right ascension; one that stands keeps its hour angle; of one that is parked the park
 * position says it all.
 */
export function mountSettings(mount: SettableMount, tools: MountTools): readonly KeptSetting[] {
  const { device } = tools;
  const facts = tools.facts();
  const siderealHours = (signal: AbortSignal) => device.get("siderealtime", number, signal);
  const hourAngle = async (place: Equatorial, signal: AbortSignal) =>
    wrapHours((await siderealHours(signal)) - place.raHours);

  const rateOffsets: KeptSetting = {
    key: "rateOffsets",
    unit: "s of right ascension per sidereal s, arcsec/s",
    async read(signal) {
      // At other rates they read 0 and cannot be written.
      if ((await device.optional("trackingrate", whole, signal)) !== driveRate.sidereal) return undefined;
      const { ra, dec } = await readRateOffsets(tools, signal);
      return ra === undefined && dec === undefined ? undefined : [ra ?? 0, dec ?? 0];
    },
    restore: async (value, signal) => setRateOffsets(tools, value as readonly number[], signal),
    same: (before, now) => {
      const [a, b] = [before as readonly number[], now as readonly number[]];
      return (
        Math.abs(a[0]! - b[0]!) <= raOffset.tolerance! && Math.abs(a[1]! - b[1]!) <= decOffset.tolerance!
      );
    },
  };

  const pointing: KeptSetting = {
    key: "pointing",
    unit: "hours of right ascension, degrees",
    async read(signal) {
      const { parked, tracking, pointing: place } = await mount.state(signal);
      return parked === true || !tracking ? undefined : [place.raHours, place.decDegrees];
    },
    async restore(value, signal) {
      const place = placeOf(value);
      const state = await mount.state(signal);
      if (state.parked !== true && state.tracking && isNear(state.pointing, place)) return;
      await mount.ensureUnparked(signal);
      await mount.slewTo(place, signal);
    },
    same: (before, now) => isNear(placeOf(before), placeOf(now)),
  };

  const standing: KeptSetting = {
    key: "pointingHourAngle",
    unit: "hours of hour angle, degrees",
    async read(signal) {
      const { parked, tracking, pointing: place } = await mount.state(signal);
      return parked === true || tracking ? undefined : [await hourAngle(place, signal), place.decDegrees];
    },
    async restore(value, signal) {
      const wanted = placeOf(value);
      // The slew itself follows the sky while it lasts, so the first may end a little beside.
      for (let attempt = 0; ; attempt++) {
        const { parked, tracking, pointing: place } = await mount.state(signal);
        const found = { raHours: await hourAngle(place, signal), decDegrees: place.decDegrees };
        if (parked !== true && !tracking && isNear(found, wanted)) return;
        if (attempt === 3) throw new ReadbackError(device.name, this.key, wanted.raHours, found.raHours);
        await mount.ensureUnparked(signal);
        const raHours = wrapHours((await siderealHours(signal)) - wanted.raHours);
        await mount.slewTo({ raHours, decDegrees: wanted.decDegrees }, signal);
        await mount.ensureTrackingOff(signal);
      }
    },
    same: (before, now) => isNear(placeOf(before), placeOf(now)),
  };

  const tracking: KeptSetting = {
    key: "tracking",
    read: async (signal) => (await mount.state(signal)).tracking,
    async restore(value, signal) {
      if ((await mount.state(signal)).tracking === value) return;
      if (value === true) await mount.ensureUnparked(signal);
      await mount.switchTracking(value === true, signal);
    },
    same: (before, now) => before === now,
  };

  const parked: KeptSetting = {
    key: "parked",
    read: async (signal) => (await mount.state(signal)).parked,
    restore: (value, signal) => (value === true ? mount.ensureParked(signal) : mount.ensureUnparked(signal)),
    same: (before, now) => before === now,
  };

  return [
    propertySetting(device, "trackRate", trackingRate),
    ...(facts.canSetRaRate || facts.canSetDecRate ? [rateOffsets] : []),
    pointing,
    standing,
    tracking,
    ...(facts.canPark ? [parked] : []),
  ];
}

/** They can be written only at sidereal rate, and stay until they are changed. */
export async function setRateOffsets(
  { device, facts }: MountTools,
  [ra = 0, dec = 0]: readonly number[],
  signal: AbortSignal,
): Promise<void> {
  if (facts().canSetRaRate) await ensureProperty(device, raOffset, ra, signal);
  if (facts().canSetDecRate) await ensureProperty(device, decOffset, dec, signal);
}

function placeOf(value: SettingValue): Equatorial {
  const [raHours, decDegrees] = Array.isArray(value) ? (value as readonly number[]) : [];
  return { raHours: raHours ?? Number.NaN, decDegrees: decDegrees ?? Number.NaN };
}

function isNear(a: Equatorial, b: Equatorial): boolean {
  return distanceDegrees(a, b) <= toleranceDegrees;
}
