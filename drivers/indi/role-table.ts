import type { DeviceEntry } from "../protocol.ts";
import type { KeptDevice } from "../roles/kept-device.ts";
import type { DeviceOf, RoleName } from "../roles/roles.ts";
import { IndiCamera } from "./roles/camera.ts";
import type { CameraOptions } from "./roles/camera-options.ts";
import { IndiCover } from "./roles/cover.ts";
import { IndiDome } from "./roles/dome.ts";
import { IndiFocuser } from "./roles/focuser.ts";
import { IndiMount } from "./roles/mount.ts";
import { IndiRotator } from "./roles/rotator.ts";
import { IndiWeather } from "./roles/weather.ts";
import { IndiWheel } from "./roles/wheel.ts";
import type { IndiClient } from "./session/client.ts";
import type { RoleContext } from "./session/indi-role.ts";

/** What the rig file says of a device on an INDI server. */
export interface IndiEntry extends DeviceEntry, CameraOptions {}

interface RoleRow<R extends RoleName> {
  /** In DRIVER_INTERFACE of the standard: a bit for each thing that a driver can be. */
  readonly interfaceBit: number;
  make(context: RoleContext, entry: IndiEntry, client: IndiClient): KeptDevice & DeviceOf<R>;
}

/** What plays each role. */
export const roleTable: { readonly [R in RoleName]: RoleRow<R> } = {
  camera: {
    interfaceBit: 2,
    make: (context, entry, client) => {
      const enable = (property: string) => client.enableBlobs(entry.device, property);
      return new IndiCamera(context, { enable, ordered: client.ordersBlobs }, entry);
    },
  },
  mount: { interfaceBit: 1, make: (context, entry) => new IndiMount(context, entry) },
  focuser: { interfaceBit: 8, make: (context, entry) => new IndiFocuser(context, entry) },
  cover: { interfaceBit: 512, make: (context, entry) => new IndiCover(context, { ...entry, role: "cover" }) },
  diffuser: {
    interfaceBit: 512,
    make: (context, entry) => new IndiCover(context, { ...entry, role: "diffuser" }),
  },
  wheel: { interfaceBit: 16, make: (context) => new IndiWheel(context) },
  rotator: { interfaceBit: 4096, make: (context) => new IndiRotator(context) },
  dome: { interfaceBit: 32, make: (context, entry) => new IndiDome(context, entry) },
  weather: { interfaceBit: 128, make: (context) => new IndiWeather(context) },
};
