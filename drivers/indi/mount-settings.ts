import { ReadbackError } from "../kit/errors.ts";
import { greenwichSiderealHours, wrapHours } from "../kit/sidereal.ts";
import type { SettingValue } from "../roles/device.ts";
import type { Equatorial, Mount } from "../roles/mount.ts";
import { distanceDegrees } from "../roles/mount-sky.ts";
import { type KeptSetting, numberSetting, switchSetting } from "./kept-setting.ts";
import { readPointing } from "./mount-reading.ts";
import type { MountTools } from "./mount-slew.ts";
import { numberIn } from "./property.ts";

/** How far off a pointing that was put back may be [degrees]. */
const toleranceDegrees = 0.08;
/** How near a mount that stands is brought in hour angle, if a few tries can do it [degrees]. */
const aimDegrees = 0.015;

/**
 * In an order in which they can be put back: rates first, then the place, then tracking, and parking at the end.
 * A mount that tracks keeps its right ascension; one that stands keeps its hour angle; of one that is parked the park
 * position says it all.
 */
export function mountSettings(mount: Mount, tools: MountTools): readonly KeptSetting[] {
  const { device, clock } = tools;
  const localSiderealHours = (): number => {
    const east = numberIn(device.property("GEOGRAPHIC_COORD"), "LONG") ?? 0;
    return greenwichSiderealHours(clock.nowMs()) + (Number.isFinite(east) ? east : 0) / 15;
  };
  const toHourAngle = (place: Equatorial) => wrapHours(localSiderealHours() - place.raHours);
  const readWhen =
    (tracking: boolean, toFirst: (place: Equatorial) => number) => async (signal: AbortSignal) => {
      const state = await mount.state(signal);
      if (state.parked === true || state.tracking !== tracking) return undefined;
      return [toFirst(state.pointing), state.pointing.decDegrees];
    };

  const pointing: KeptSetting = {
    key: "pointing",
    unit: "hours of right ascension, degrees",
    read: readWhen(true, (place) => place.raHours),
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
    read: readWhen(false, toHourAngle),
    async restore(value, signal) {
      const wanted = placeOf(value);
      const asHourAngle = (place: Equatorial): Equatorial => ({ ...place, raHours: toHourAngle(place) });
      // A slew follows the sky until tracking is off, and so ends late in hour angle: the next aims ahead by as much.
      let aheadHours = 0;
      for (let attempt = 0; ; attempt++) {
        const state = await mount.state(signal);
        const isStanding = state.parked !== true && !state.tracking;
        const lateHours = wrapHours(toHourAngle(state.pointing) - wanted.raHours + 12) - 12;
        if (isStanding && isNear(asHourAngle(state.pointing), wanted)) {
          if (attempt > 2 || Math.abs(lateHours) * 15 <= aimDegrees) return;
        }
        if (attempt > 0 && Math.abs(lateHours) < 0.2) aheadHours += lateHours;
        if (attempt === 4) {
          throw new ReadbackError(
            device.name,
            "pointingHourAngle",
            wanted.raHours,
            toHourAngle(state.pointing),
          );
        }
        await mount.ensureUnparked(signal);
        const raHours = wrapHours(localSiderealHours() - wanted.raHours + aheadHours);
        await mount.slewTo({ raHours, decDegrees: wanted.decDegrees }, signal);
        await mount.ensureTrackingOff(signal);
        await readPointing(device, signal);
      }
    },
    same: (before, now) => isNear(placeOf(before), placeOf(now)),
  };

  const tracking: KeptSetting = {
    key: "tracking",
    read: async (signal) => (await mount.state(signal)).tracking,
    async restore(value, signal) {
      const state = await mount.state(signal);
      if (state.tracking === value) return;
      if (value !== true) return mount.ensureTrackingOff(signal);
      await mount.ensureUnparked(signal);
      await mount.ensureTracking(state.trackRate ?? "sidereal", signal);
    },
    same: (before, now) => before === now,
  };

  const parked: KeptSetting = {
    key: "parked",
    read: async (signal) => (await mount.state(signal)).parked,
    restore: (value, signal) => (value === true ? mount.ensureParked(signal) : mount.ensureUnparked(signal)),
    same: (before, now) => before === now,
  };

  const guideRate = { property: "GUIDE_RATE", elements: ["GUIDE_RATE_WE", "GUIDE_RATE_NS"], tolerance: 1e-3 };
  return [
    switchSetting(device, "slewRate", "TELESCOPE_SLEW_RATE"),
    numberSetting(device, "guideRate", { ...guideRate, unit: "times sidereal" }),
    switchSetting(device, "trackMode", "TELESCOPE_TRACK_MODE"),
    pointing,
    standing,
    tracking,
    // After the last slew, which needs its own choice.
    switchSetting(device, "onCoordSet", "ON_COORD_SET"),
    ...(device.property("TELESCOPE_PARK") ? [parked] : []),
  ];
}

function placeOf(value: SettingValue): Equatorial {
  const [raHours, decDegrees] = Array.isArray(value) ? (value as readonly number[]) : [];
  return { raHours: raHours ?? Number.NaN, decDegrees: decDegrees ?? Number.NaN };
}

function isNear(a: Equatorial, b: Equatorial): boolean {
  return distanceDegrees(a, b) <= toleranceDegrees;
}
