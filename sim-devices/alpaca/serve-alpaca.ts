import type { World } from "../scene/world.ts";
import { SimAlpacaServer } from "./alpaca-server.ts";
import { type SceneDeviceOptions, sceneDevices } from "./scene-devices.ts";

const servers = new WeakMap<World, SimAlpacaServer>();

/** The one Alpaca server of a world; made when first asked for, and then with these options. */
export function alpacaServerOf(world: World, options?: SceneDeviceOptions): SimAlpacaServer {
  let server = servers.get(world);
  if (!server) {
    server = new SimAlpacaServer(world, sceneDevices(world, options));
    servers.set(world, server);
  }
  return server;
}
