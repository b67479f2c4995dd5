import { type Fault, holdSwitch } from "./fault.ts";

/** What goes wrong with the mount itself; more of it is in `world-faults.ts`. */

/** What a mount says of its own motion: whether it turns with the sky, and where that has led. */
export const mountMotion = ["mount.tracking", "mount.raHours", "mount.hourAngleDegrees", "mount.decDegrees"];

/** No power for its motors: it takes every command and stands where it is, busy with slews that never end. */
export function mountStops(): Fault {
  return {
    name: "mount stops",
    blocks: ["mount"],
    staysBusy: ["mount"],
    lies: mountMotion,
    begin: ({ world }) => holdSwitch(world, "mount stops", (on) => world.mount.jam(on)),
  };
}

/** One axis runs until somebody stops it. @param degreesPerSecond east positive */
export function mountRunsAway(degreesPerSecond: number): Fault {
  return {
    name: `mount runs away at ${degreesPerSecond.toFixed(2)} degrees/s`,
    foreign: ["mount"],
    begin: ({ world }) => {
      if (world.mount.parked || world.mount.phase !== "still") return undefined;
      world.mount.jog("east", degreesPerSecond);
      return () => world.mount.jog("east", 0);
    },
  };
}

/** Slews arrive, and never end by its own account. A stop still ends them. */
export function mountStaysBusy(): Fault {
  return {
    name: "mount stays busy",
    staysBusy: ["mount"],
    begin: ({ world }) => holdSwitch(world, "mount stays busy", (on) => world.mount.neverSettle(on)),
  };
}
