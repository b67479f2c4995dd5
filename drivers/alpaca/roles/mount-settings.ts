import { resolveAll } from "../../kit/resolve-all.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { Mount } from "../../roles/mount.ts";
import {
  parkedSetting,
  pointingSetting,
  readStateOnce,
  standingSetting,
  trackingSetting,
} from "../../roles/pointing-settings.ts";
import { propertySetting } from "../session/kept-setting.ts";
import { number, whole } from "../wire/values.ts";
import { driveRate } from "./mount-facts.ts";
import { decOffset, raOffset, setRateOffsets, trackingRate } from "./mount-rate.ts";
import { type MountTools, readRateOffsets } from "./mount-reading.ts";

/**
 * In an order in which they can be put back: rates first, then the place, then tracking, and parking at the end.
 * A mount that tracks keeps its right ascension; one that stands keeps its hour angle; of one that is parked the park
 * position says it all.
 */
export function mountSettings(
  mount: Mount,
  tools: MountTools,
  switchTracking: (on: boolean, signal: AbortSignal) => Promise<void>,
): readonly KeptSetting[] {
  const { device } = tools;
  const facts = tools.facts();

  const rateOffsets: KeptSetting = {
    key: "rateOffsets",
    unit: "s of right ascension per sidereal s, arcsec/s",
    async read(signal) {
      // At other rates they read 0 and cannot be written.
      const { rate, offsets } = await resolveAll({
        rate: device.optional("trackingrate", whole, signal),
        offsets: readRateOffsets(tools, signal),
      });
      if (rate !== driveRate.sidereal) return undefined;
      const { ra, dec } = offsets;
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

  const readState = readStateOnce(mount);
  return [
    propertySetting(device, "trackRate", trackingRate),
    ...(facts.canSetRaRate || facts.canSetDecRate ? [rateOffsets] : []),
    pointingSetting(mount, readState),
    standingSetting(mount, readState, (signal) => device.get("siderealtime", number, signal)),
    trackingSetting(mount, readState, (on, _state, signal) => switchTracking(on, signal)),
    ...(facts.canPark ? [parkedSetting(mount, readState)] : []),
  ];
}
