import type { BaselineEntry } from "../record/run-record.ts";

/** Settings whose putting back turns the telescope, or lets it follow the sky. */
const mountKeys: ReadonlySet<string> = new Set(["pointing", "pointingHourAngle", "parked"]);

export function isOpenCover({ role, setting }: BaselineEntry): boolean {
  return role === "cover" && setting.key === "position" && setting.value === "open";
}

export function isOpenShutter({ role, setting }: BaselineEntry): boolean {
  return role === "dome" && setting.key === "shutter" && setting.value === "open";
}

export function movesTelescope({ role, setting: { key, value } }: BaselineEntry): boolean {
  return role === "mount" && (mountKeys.has(key) || (key === "tracking" && value === true));
}
