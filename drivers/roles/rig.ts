import type { Camera } from "./camera.ts";
import type { Cover } from "./cover.ts";
import type { Device } from "./device.ts";
import type { Dome } from "./dome.ts";
import type { Focuser } from "./focuser.ts";
import type { Mount } from "./mount.ts";
import type { Rotator } from "./rotator.ts";
import type { Weather } from "./weather.ts";
import type { Wheel } from "./wheel.ts";

/** The devices of one telescope, as roles. Only the camera is always there. */
export interface Rig {
  readonly camera: Camera;
  readonly mount?: Mount;
  readonly focuser?: Focuser;
  readonly cover?: Cover;
  readonly diffuser?: Cover;
  readonly wheel?: Wheel;
  readonly rotator?: Rotator;
  readonly dome?: Dome;
  readonly weather?: Weather;
}

/** All devices of a rig, camera first. */
export function devicesOf(rig: Rig): readonly Device[] {
  return [
    rig.camera,
    rig.mount,
    rig.focuser,
    rig.cover,
    rig.diffuser,
    rig.wheel,
    rig.rotator,
    rig.dome,
    rig.weather,
  ].filter((device) => device !== undefined);
}
