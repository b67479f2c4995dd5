import type { Fault } from "./fault.ts";

/** What goes wrong with the mount itself; `stalled motors` are in `world-faults.ts`. */

/** No power for its motors: it takes every command and stands where it is, busy with slews that never end. */
export function mountStops(): Fault {
  return {
    name: "mount stops",
    blocks: ["mount"],
    lies: ["mount"],
    begin: ({ world }) => {
      world.mount.jam(true);
      return () => world.mount.jam(false);
    },
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

/** It suddenly takes itself to be elsewhere, as after a slipped clutch, a lost encoder or a wrong sync. */
export function mountJumps(raHours: number): Fault {
  return {
    name: `mount reports ${raHours.toFixed(2)} h more`,
    lies: ["mount"],
    begin: ({ world }) => {
      const { raHours: now, decDegrees } = world.mount.believed;
      world.mount.syncTo({ raHours: now + raHours, decDegrees });
      return () =>
        world.mount.syncTo({ ...world.mount.believed, raHours: world.mount.believed.raHours - raHours });
    },
  };
}

/** Slews arrive, and never end by its own account. A stop still ends them. */
export function mountStaysBusy(): Fault {
  return {
    name: "mount stays busy",
    lies: ["mount"],
    begin: ({ world }) => {
      world.mount.neverSettles = true;
      return () => {
        world.mount.neverSettles = false;
      };
    },
  };
}

/** Tracking is not switched on any more, and the mount says so. */
export function mountRefusesToTrack(): Fault {
  return {
    name: "mount refuses to track",
    begin: ({ world }) => {
      world.mount.refusesTracking = true;
      world.mount.setTracking(false);
      return () => {
        world.mount.refusesTracking = false;
      };
    },
  };
}

/** Slews end elsewhere, which it reports truly. */
export function slewsEndElsewhere(hourAngleDegrees: number, decDegrees: number): Fault {
  return {
    name: `slews end ${Math.hypot(hourAngleDegrees, decDegrees).toFixed(1)} degrees off`,
    begin: ({ world }) => {
      world.mount.missesBy = { hourAngleDegrees, decDegrees };
      return () => {
        world.mount.missesBy = undefined;
      };
    },
  };
}
