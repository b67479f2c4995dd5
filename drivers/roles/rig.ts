import { type DeviceOf, type RoleName, roleNames, roles } from "./roles.ts";

/** The devices of one telescope, as roles. Only the camera is always there. */
export type Rig = { readonly camera: DeviceOf<"camera"> } & {
  readonly [R in Exclude<RoleName, "camera">]?: DeviceOf<R>;
};

export type RigDevice = DeviceOf<RoleName>;
type Stoppable = Extract<RigDevice, { ensureStopped(signal: AbortSignal): Promise<void> }>;

/** All devices of a rig, camera first. */
export function devicesOf(rig: Rig): readonly RigDevice[] {
  return roleNames.map((role) => rig[role]).filter((device) => device !== undefined);
}

/** Those that can be in the middle of something which a stop ends. */
export function stoppableDevices(rig: Rig): readonly Stoppable[] {
  return devicesOf(rig).filter((device): device is Stoppable => roles[device.role].canBeStopped);
}
