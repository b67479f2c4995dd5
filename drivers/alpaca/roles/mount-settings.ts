import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { Mount } from "../../roles/mount.ts";
import { parkedSetting, pointingSetting, standingSetting } from "../../roles/pointing-settings.ts";
import { ensureProperty, type Property, propertySetting } from "../session/kept-setting.ts";
import { number, whole } from "../wire/values.ts";
import { driveRate } from "./mount-facts.ts";
import { type MountTools, readRateOffsets } from "./mount-reading.ts";

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

  return [
    propertySetting(device, "trackRate", trackingRate),
    ...(facts.canSetRaRate || facts.canSetDecRate ? [rateOffsets] : []),
    pointingSetting(mount),
    standingSetting(mount, (signal) => device.get("siderealtime", number, signal)),
    tracking,
    ...(facts.canPark ? [parkedSetting(mount)] : []),
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
