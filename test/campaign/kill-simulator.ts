/** The simulated rig of the kill campaign, in a process of its own: it outlives every agent that is killed. */
import { createInterface } from "node:readline";
import { startSimulator } from "../../sim-devices/start-simulator.ts";
import { smallScene } from "../stage/scenes.ts";
import { type SharedTime, sharedClock, told } from "./kill-clock.ts";

const simulator = await startSimulator({
  spec: smallScene,
  clock: sharedClock(told<SharedTime>()),
  indiPort: 0,
});
const say = (value: unknown) => process.stdout.write(`${JSON.stringify(value)}\n`);
say({ port: simulator.indi!.port });
createInterface({ input: process.stdin }).on("line", () => say(simulator.world.account()));
