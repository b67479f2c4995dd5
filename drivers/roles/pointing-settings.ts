import { ReadbackError, RefusedError } from "../kit/errors.ts";
import { wrapHours } from "../kit/sidereal.ts";
import type { SettingValue } from "./device.ts";
import type { KeptSetting } from "./kept-settings.ts";
import type { Equatorial, Mount, MountState } from "./mount.ts";
import { distanceDegrees } from "./mount-sky.ts";

/** How far off a pointing that was put back may be [degrees]. */
const toleranceDegrees = 0.08;
/** How near a mount that stands is brought in hour angle, if a few tries can do it [degrees]. */
const aimDegrees = 0.015;

/** By the mount's own site and clock [hours]. `undefined`: not known any more, since the clock was set. */
export type SiderealHours = (signal: AbortSignal) => number | undefined | Promise<number>;

/** The state of a mount, read once for all settings that are read of it together. */
export type ReadState = (signal: AbortSignal) => Promise<MountState>;

export function readStateOnce(mount: Mount): ReadState {
  let reading: Promise<MountState> | undefined;
  return (signal) => (reading ??= mount.state(signal));
}

/** Right ascension and declination of a mount that tracks; one that stands or is parked has none to keep. */
export function pointingSetting(mount: Mount, readState: ReadState): KeptSetting {
  return {
    key: "pointing",
    unit: "hours of right ascension, degrees",
    async read(signal) {
      const { parked, tracking, pointing } = await readState(signal);
      return parked === true || !tracking ? undefined : [pointing.raHours, pointing.decDegrees];
    },
    async restore(value, signal) {
      const place = pointingFrom(value);
      const state = await mount.state(signal);
      if (state.parked !== true && state.tracking && isNear(state.pointing, place)) return;
      await mount.ensureUnparked(signal);
      await mount.slewTo(place, signal);
    },
    same: (before, now) => isNear(pointingFrom(before), pointingFrom(now)),
  };
}

/** Hour angle and declination of a mount that stands, unparked. */
export function standingSetting(
  mount: Mount,
  readState: ReadState,
  siderealHours: SiderealHours,
): KeptSetting {
  const key = "pointingHourAngle";
  const sidereal = async (signal: AbortSignal) => {
    const hours = await siderealHours(signal);
    if (hours !== undefined) return hours;
    throw new RefusedError(
      mount.name,
      "its hour angle is not known: the clock was set since it was read first",
    );
  };
  return {
    key,
    unit: "hours of hour angle, degrees",
    async read(signal) {
      const { parked, tracking, pointing } = await readState(signal);
      if (parked === true || tracking) return undefined;
      const hours = await siderealHours(signal);
      return hours === undefined ? undefined : [wrapHours(hours - pointing.raHours), pointing.decDegrees];
    },
    async restore(value, signal) {
      const wanted = pointingFrom(value);
      // A slew follows the sky until tracking is off, and so ends late in hour angle: the next aims ahead by as much.
      let aheadHours = 0;
      for (let attempt = 0; ; attempt++) {
        const { parked, tracking, pointing } = await mount.state(signal);
        const found = { ...pointing, raHours: wrapHours((await sidereal(signal)) - pointing.raHours) };
        const lateHours = wrapHours(found.raHours - wanted.raHours + 12) - 12;
        if (parked !== true && !tracking && isNear(found, wanted)) {
          if (attempt > 2 || Math.abs(lateHours) * 15 <= aimDegrees) return;
        }
        if (attempt === 4) throw new ReadbackError(mount.name, key, wanted.raHours, found.raHours);
        if (attempt > 0 && Math.abs(lateHours) < 0.2) aheadHours += lateHours;
        await mount.ensureUnparked(signal);
        const raHours = wrapHours((await sidereal(signal)) - wanted.raHours + aheadHours);
        await mount.slewTo({ raHours, decDegrees: wanted.decDegrees }, signal);
        await mount.ensureTrackingOff(signal);
      }
    },
    same: (before, now) => isNear(pointingFrom(before), pointingFrom(now)),
  };
}

/** @param switchTracking what it takes besides unparking, from that state */
export function trackingSetting(
  mount: Mount,
  readState: ReadState,
  switchTracking: (on: boolean, state: MountState, signal: AbortSignal) => Promise<void>,
): KeptSetting {
  return {
    key: "tracking",
    read: async (signal) => (await readState(signal)).tracking,
    async restore(value, signal) {
      const state = await mount.state(signal);
      if (state.tracking === value) return;
      if (value === true) await mount.ensureUnparked(signal);
      await switchTracking(value === true, state, signal);
    },
  };
}

export function parkedSetting(mount: Mount, readState: ReadState): KeptSetting {
  return {
    key: "parked",
    read: async (signal) => (await readState(signal)).parked,
    restore: (value, signal) => (value === true ? mount.ensureParked(signal) : mount.ensureUnparked(signal)),
  };
}

function pointingFrom(value: SettingValue): Equatorial {
  const [raHours, decDegrees] = Array.isArray(value) ? (value as readonly number[]) : [];
  return { raHours: raHours ?? Number.NaN, decDegrees: decDegrees ?? Number.NaN };
}

function isNear(a: Equatorial, b: Equatorial): boolean {
  return distanceDegrees(a, b) <= toleranceDegrees;
}
