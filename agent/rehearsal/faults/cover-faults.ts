import type { Fault } from "./fault.ts";

/** What goes wrong with the cover itself; sticking and lying are in `world-faults.ts`. */

/** A spring, a worn latch: it opens, and says so. */
export function coverOpensItself(): Fault {
  return {
    name: "cover opens by itself",
    foreign: ["cover"],
    begin: ({ world }) => {
      world.cover.moveTo(1);
      return undefined;
    },
  };
}

/** It is open and says that it is closed; commands change what it says and nothing else. */
export function coverSaysClosed(): Fault {
  return {
    name: "cover says closed and is open",
    blocks: ["cover"],
    lies: ["cover.open", "cover.moving"],
    begin: ({ world }) => world.cover.pretend(1),
  };
}

/** The motor gives up on the way and says where it stands: neither open nor closed. */
export function coverStopsHalfWay(at: number): Fault {
  return {
    name: "cover stops half way",
    blocks: ["cover"],
    begin: ({ world }) => {
      const stopListening = world.listen(({ part, what }) => {
        if (part === "cover" && what === "moveJammed") world.cover.stop();
      });
      const endJam = world.cover.jam(at);
      return () => {
        stopListening();
        endJam();
      };
    },
  };
}
