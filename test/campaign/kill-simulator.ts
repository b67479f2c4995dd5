/** The simulated rig of campaigns and tests, in a process of its own: it outlives every agent that is killed. */
import { createInterface } from "node:readline";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { startSimulator } from "../../sim-devices/start-simulator.ts";
import { smallScene } from "../stage/scenes.ts";
import { type SharedTime, sharedClock, told } from "./kill-clock.ts";

const { scene = smallScene, ...time } = told<SharedTime & { readonly scene?: SceneSpec }>();
const simulator = await startSimulator({
  spec: scene,
  clock: sharedClock(time),
  indiPort: 0,
});
const say = (value: unknown) => process.stdout.write(`${JSON.stringify(value)}\n`);
say({ port: simulator.indi!.port });
createInterface({ input: process.stdin }).on("line", () => say(simulator.world.account()));
