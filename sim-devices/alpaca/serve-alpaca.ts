import type { World } from "../scene/world.ts";
import { alpacaDevices, type SceneDeviceOptions } from "../scene-devices.ts";
import { SimAlpacaServer } from "./alpaca-server.ts";

const servers = new WeakMap<World, SimAlpacaServer>();

/** The one Alpaca server of a world; made when first asked for, and then with these options. */
export function alpacaServerOf(world: World, options?: SceneDeviceOptions): SimAlpacaServer {
  let server = servers.get(world);
  if (!server) {
    server = new SimAlpacaServer(world, alpacaDevices(world, options));
    servers.set(world, server);
  }
  return server;
}
