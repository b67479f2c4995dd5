import type { Fault, FaultyRig } from "./fault.ts";

/** What goes wrong with the frames themselves; a stuck or lying camera is in `world-faults.ts`. */

function painterOf(rig: FaultyRig) {
  if (!rig.painter) throw new Error("this fault needs a painter");
  return rig.painter;
}

/** Every pixel of the next frames reads the same: 0 for black ones, 65535 for saturated ones [adu]. */
export function framesOfOneLevel(levelAdu: number): Fault {
  return {
    name: `frames of ${levelAdu} adu`,
    begin: (rig) => {
      const painter = painterOf(rig);
      const { paint } = painter;
      let lasts = true;
      painter.paint = (light, ask) => {
        const pixelsAdu = paint.call(painter, light, ask);
        return lasts ? pixelsAdu.fill(levelAdu) : pixelsAdu;
      };
      return () => {
        lasts = false;
      };
    },
  };
}

/** The next frames show only a part of the region asked for, and say so. */
export function framesOfAnotherSize(fraction: number): Fault {
  return {
    name: `frames of ${(100 * fraction).toFixed(0)} % of the region`,
    begin: ({ world }) => {
      world.camera.cropTo(fraction);
      return () => world.camera.cropTo(undefined);
    },
  };
}
