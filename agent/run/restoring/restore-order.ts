import { roleNames, roles } from "../../../drivers/roles/roles.ts";
import type { BaselineEntry } from "../record/run-record.ts";

/** Settings that are about the link itself: put back when nothing else needs the device any more. */
export const connectionKey = "connected";

const roleOrder = roleNames.toSorted((a, b) => roles[a].restoreOrder - roles[b].restoreOrder);

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

/** Whether putting that setting back opens the cover. */
export function opensCover(entry: BaselineEntry): boolean {
  return entry.role === "cover" && entry.setting.key === "position" && entry.setting.value === "open";
}

/** Whether the shutter of the dome was found open. */
export function opensShutter(entry: BaselineEntry): boolean {
  return entry.role === "dome" && entry.setting.key === "shutter" && entry.setting.value === "open";
}

/** Whether putting that setting of a parked dome back ends its parking, with which many open their shutter. */
export function unparks({ role, setting }: BaselineEntry): boolean {
  return (
    role === "dome" && (setting.key === "azimuth" || (setting.key === "parked" && setting.value === false))
  );
}

/** What parking a mount changes of it. */
export const parkingKeys: ReadonlySet<string> = new Set(["pointing", "tracking", "parked"]);
