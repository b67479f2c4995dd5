import type { RoleName } from "../../../drivers/roles/device.ts";
import { connectionKey } from "../../../drivers/roles/kept-settings.ts";
import type { BaselineEntry } from "../record/run-record.ts";

/** What moves or stands in the light goes back behind a closed cover; the cover itself comes last. */
const roleOrder: readonly RoleName[] = [
  "camera",
  "diffuser",
  "focuser",
  "wheel",
  "rotator",
  "mount",
  "dome",
  "weather",
  "cover",
];

export interface RestorePhases {
  /** In the order in which they go back; within a device as it gave them. */
  readonly behindCover: readonly BaselineEntry[];
  readonly cover: readonly BaselineEntry[];
  readonly connections: readonly BaselineEntry[];
}

export function restorePhases(baseline: readonly BaselineEntry[]): RestorePhases {
  const byRole = roleOrder.flatMap((role) => baseline.filter((entry) => entry.role === role));
  const isConnection = (entry: BaselineEntry) => entry.setting.key === connectionKey;
  return {
    behindCover: byRole.filter((entry) => !isConnection(entry) && entry.role !== "cover"),
    cover: byRole.filter((entry) => !isConnection(entry) && entry.role === "cover"),
    connections: byRole.filter(isConnection),
  };
}
