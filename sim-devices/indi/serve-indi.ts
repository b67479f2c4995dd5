import type { World } from "../scene/world.ts";
import { indiDevices } from "../scene-devices.ts";
import { IndiServer } from "./indi-server.ts";

const servers = new WeakMap<World, IndiServer>();

/** The one INDI server of a world; made when first asked for. */
export function indiServerOf(world: World): IndiServer {
  let server = servers.get(world);
  if (!server) {
    server = new IndiServer(world, indiDevices(world));
    servers.set(world, server);
  }
  return server;
}
