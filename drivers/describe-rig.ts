import { devicesOf, type Rig } from "./roles/rig.ts";
import type { RoleName } from "./roles/roles.ts";

export interface DeviceDescription {
  readonly role: RoleName;
  readonly device: string;
  /** Ability → a short word or figure. */
  readonly abilities: Readonly<Record<string, string>>;
}

/** What each device of a connected rig can do, as data; asks and changes nothing. */
export function describeRig(rig: Rig): readonly DeviceDescription[] {
  return devicesOf(rig).map((device) => ({
    role: device.role,
    device: device.name,
    abilities: device.describe(),
  }));
}
