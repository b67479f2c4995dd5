import type { World } from "../scene/world.ts";
import { IndiServer } from "./indi-server.ts";
import { sceneDevices } from "./scene-devices.ts";

const servers = new WeakMap<World, IndiServer>();

/** The one INDI server of a world; made when first asked for. */
export function indiServerOf(world: World): IndiServer {
  let server = servers.get(world);
  if (!server) {
    server = new IndiServer(world, sceneDevices(world));
    servers.set(world, server);
  }
  return server;
}
