import type { Camera } from "./camera.ts";
import type { Cover } from "./cover.ts";
import type { Device } from "./device.ts";
import type { Dome } from "./dome.ts";
import type { Focuser } from "./focuser.ts";
import type { Mount } from "./mount.ts";
import type { Rotator } from "./rotator.ts";
import type { Weather } from "./weather.ts";
import type { Wheel } from "./wheel.ts";

interface Stoppable {
  ensureStopped(signal: AbortSignal): Promise<void>;
}

/** What the rest of the house must know of a role besides its interface. */
export interface RoleFacts<D extends Device> {
  /**
   * Its place when a rig is put back. What moves or stands in the light goes back behind a closed cover; the cover
   * itself comes last.
   */
  readonly restoreOrder: number;
  /** Whether it is stopped before anything is put back. */
  readonly canBeStopped: D extends Stoppable ? true : false;
  /** Only a type. */
  readonly device?: D;
}

const role = <D extends Device>(facts: RoleFacts<D>): RoleFacts<D> => facts;

/** Every role that a rig can have, in the order in which devices are listed and read. */
export const roles = {
  camera: role<Camera>({ restoreOrder: 1, canBeStopped: true }),
  mount: role<Mount>({ restoreOrder: 6, canBeStopped: true }),
  focuser: role<Focuser>({ restoreOrder: 3, canBeStopped: true }),
  cover: role<Cover>({ restoreOrder: 9, canBeStopped: false }),
  diffuser: role<Cover>({ restoreOrder: 2, canBeStopped: false }),
  wheel: role<Wheel>({ restoreOrder: 4, canBeStopped: false }),
  rotator: role<Rotator>({ restoreOrder: 5, canBeStopped: true }),
  dome: role<Dome>({ restoreOrder: 7, canBeStopped: true }),
  weather: role<Weather>({ restoreOrder: 8, canBeStopped: false }),
};

export type RoleName = keyof typeof roles;
export const roleNames = Object.keys(roles) as readonly RoleName[];

/** The interface behind a role. */
export type DeviceOf<R extends RoleName> = (typeof roles)[R] extends RoleFacts<infer D> ? D : never;
