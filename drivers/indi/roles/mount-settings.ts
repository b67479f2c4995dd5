import { greenwichSiderealHours } from "../../kit/sidereal.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { Mount } from "../../roles/mount.ts";
import {
  parkedSetting,
  pointingSetting,
  readStateOnce,
  standingSetting,
  trackingSetting,
} from "../../roles/pointing-settings.ts";
import type { RoleTools } from "../session/indi-role.ts";
import { numberSetting, switchSetting } from "../session/kept-setting.ts";
import { numberIn } from "../wire/property.ts";

/** Of the sky's turning that is half of what a place may be off [s]. */
const stepSecondsMax = 10;
/** How far the wall clock was ahead of the steady one when the sidereal time was told first [s]. */
const wallAheadSeconds = new WeakMap<Mount, number>();

/**
 * In an order in which they can be put back: rates first, then the place, then tracking, and parking at the end.
 * A mount that tracks keeps its right ascension; one that stands keeps its hour angle; of one that is parked the park
 * position says it all.
 */
export function mountSettings(mount: Mount, tools: RoleTools): readonly KeptSetting[] {
  const { device, clock } = tools;
  const localSiderealHours = (): number | undefined => {
    const nowUtcMs = clock.nowMs();
    const aheadSeconds = nowUtcMs / 1000 - clock.monotonicSeconds();
    const before = wallAheadSeconds.get(mount) ?? aheadSeconds;
    wallAheadSeconds.set(mount, before);
    if (Math.abs(aheadSeconds - before) > stepSecondsMax) return undefined; // one of the two was wrong
    const east = numberIn(device.property("GEOGRAPHIC_COORD"), "LONG") ?? 0;
    return greenwichSiderealHours(nowUtcMs) + (Number.isFinite(east) ? east : 0) / 15;
  };

  const guideRate = { property: "GUIDE_RATE", elements: ["GUIDE_RATE_WE", "GUIDE_RATE_NS"], tolerance: 1e-3 };
  const readState = readStateOnce(mount);
  return [
    switchSetting(device, "slewRate", "TELESCOPE_SLEW_RATE"),
    numberSetting(device, "guideRate", { ...guideRate, unit: "times sidereal" }),
    switchSetting(device, "trackMode", "TELESCOPE_TRACK_MODE"),
    pointingSetting(mount, readState),
    standingSetting(mount, readState, localSiderealHours),
    trackingSetting(mount, readState, (on, { trackRate }, signal) =>
      on ? mount.ensureTracking(trackRate ?? "sidereal", signal) : mount.ensureTrackingOff(signal),
    ),
    // After the last slew, which needs its own choice.
    switchSetting(device, "onCoordSet", "ON_COORD_SET"),
    ...(device.property("TELESCOPE_PARK") ? [parkedSetting(mount, readState)] : []),
  ];
}
