import type { World } from "../../scene/world.ts";
import type { SlewKinds } from "./telescope-slews.ts";

const topocentric = 1;
const polar = 1;
/** This mount reaches its whole sky without going beyond the pole. */
export const normalPierSide = 0;

/** What of a telescope never changes, by member. */
export function telescopeFacts(world: World, slews: SlewKinds) {
  const { apertureMm, focalLengthMm, obstructionRatio } = world.spec.optics;
  const diameterMetres = apertureMm / 1000;
  return {
    alignmentmode: polar,
    equatorialsystem: topocentric,
    aperturediameter: diameterMetres,
    aperturearea: (Math.PI / 4) * diameterMetres ** 2 * (1 - obstructionRatio ** 2),
    focallength: focalLengthMm / 1000,
    canfindhome: false,
    canpark: true,
    canpulseguide: true,
    cansetdeclinationrate: true,
    cansetguiderates: true,
    cansetpark: true,
    cansetpierside: false,
    cansetrightascensionrate: true,
    cansettracking: true,
    canslew: slews.sync,
    canslewasync: slews.async,
    canslewaltaz: slews.sync,
    canslewaltazasync: slews.async,
    cansync: true,
    cansyncaltaz: false,
    canunpark: true,
    athome: false,
    sideofpier: normalPierSide,
    // The mount's coordinates are free of refraction: it allows for it by itself.
    doesrefraction: true,
    slewsettletime: Math.round(world.spec.mount.settleSeconds),
  };
}
