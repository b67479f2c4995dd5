import type { Camera } from "./camera.ts";
import { noForeignCommands } from "./foreign-commands.ts";

/** Stands for a camera that did not open, where the rest of a rig has to be put back without it: every call fails. */
export function absentCamera(name: string, why: Error): Camera {
  const fail = () => Promise.reject(why);
  const unknown = { min: Number.NaN, max: Number.NaN };
  return {
    role: "camera",
    name,
    limits: {
      exposureSeconds: unknown,
      gain: undefined,
      offset: undefined,
      binning: unknown,
      sensorPx: { widthPx: Number.NaN, heightPx: Number.NaN },
      pixelMicron: Number.NaN,
      fullScaleAdu: Number.NaN,
    },
    setup: fail,
    configure: fail,
    expose: fail,
    giveBack: () => {},
    ensureStopped: fail,
    sendStop: fail,
    readSettings: fail,
    restoreSetting: fail,
    sameSetting: () => false,
    roundTripSeconds: 0,
    foreignCommands: noForeignCommands,
    isAlive: async () => false,
    describe: () => ({}),
    [Symbol.asyncDispose]: async () => {},
  };
}
