/** The simulated rig of campaigns and tests, in a process of its own: it outlives every agent that is killed. */
import { createInterface } from "node:readline";
import { digestOf } from "../../agent/rehearsal/frame-account.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { startSimulator } from "../../sim-devices/start-simulator.ts";
import { smallScene } from "../stage/scenes.ts";
import { type SharedTime, sharedClock, told } from "./kill-clock.ts";

/** A light frame that the camera has given. */
export interface FrameGiven {
  readonly utcMs: number;
  readonly exposureSeconds: number;
  readonly digest: string;
}

const { scene = smallScene, ...time } = told<SharedTime & { readonly scene?: SceneSpec }>();
const clock = sharedClock(time);
const simulator = await startSimulator({ spec: scene, clock, indiPort: 0 });
const frames: FrameGiven[] = [];
const { painter } = simulator;
const paint = painter.paint.bind(painter);
painter.paint = (light, ask) => {
  const pixelsAdu = paint(light, ask);
  if (ask.frameType === "light")
    frames.push({ utcMs: clock.nowMs(), exposureSeconds: ask.seconds, digest: digestOf(pixelsAdu) });
  return pixelsAdu;
};
const answers: Readonly<Record<string, () => unknown>> = {
  frames: () => frames.splice(0),
  "drivers end": () => {
    for (const device of simulator.indiServer.devices) device.die();
    return null;
  },
};
const say = (value: unknown) => process.stdout.write(`${JSON.stringify(value)}\n`);
say({ port: simulator.indi!.port });
createInterface({ input: process.stdin }).on("line", (line) =>
  say(answers[line] ? answers[line]() : simulator.world.account()),
);
