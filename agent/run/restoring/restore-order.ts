import { connectionKey } from "../../../drivers/roles/kept-settings.ts";
import { roleNames, roles } from "../../../drivers/roles/roles.ts";
import type { BaselineEntry } from "../record/run-record.ts";

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
