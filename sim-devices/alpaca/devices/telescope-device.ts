import type { World } from "../../scene/world.ts";
import { invalidOperation } from "../ascom-error.ts";
import { type DeviceOptions, type Identity, SimAlpacaDevice } from "../sim-alpaca-device.ts";
import { horizontalOf } from "./horizon.ts";
import { addAxes, addGuiding } from "./telescope-motion.ts";
import { addSiteAndTime } from "./telescope-site.ts";
import { addSlews } from "./telescope-slews.ts";
import { checkedDirection, isSlewing, raDec } from "./telescope-state.ts";
import { addTracking, rateOffsets } from "./telescope-tracking.ts";

const topocentric = 1;
const alignment = { polar: 1, germanPolar: 2 } as const;
/** By the standard's numbers; a mount that never changes sides is always in the normal state, east. */
const pierSideNumber = { east: 0, west: 1 } as const;

/** The scene's equatorial mount. */
export class TelescopeDevice extends SimAlpacaDevice {
  protected override readonly stateNames = [
    "Altitude",
    "AtHome",
    "AtPark",
    "Azimuth",
    "Declination",
    "IsPulseGuiding",
    "RightAscension",
    "SideOfPier",
    "SiderealTime",
    "Slewing",
    "Tracking",
    "UTCDate",
  ];
  readonly #guideRates: { readonly east: number; readonly north: number };

  constructor(identity: Identity, world: World, options: DeviceOptions) {
    super(identity, world, options, "Simulated equatorial mount");
    const { members } = this;
    const { mount, spec } = world;
    const slews = { async: options.slews !== "sync", sync: options.slews !== "async" };
    const { apertureMm, focalLengthMm, obstructionRatio } = spec.optics;
    const diameterMetres = apertureMm / 1000;
    members.constants({
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
      // The mount's coordinates are free of refraction: it allows for it by itself.
      doesrefraction: true,
      slewsettletime: Math.round(spec.mount.settleSeconds),
    });
    members.readsWith("destinationsideofpier", raDec, ({ RightAscension, Declination }) => {
      const place = checkedDirection(RightAscension, Declination);
      return pierSideNumber[mount.pierSide === undefined ? "east" : mount.sideAt(place)];
    });
    members.lacksWrite("sideofpier", { SideOfPier: "int" });
    members.lacksWrite("doesrefraction", { DoesRefraction: "boolean" });
    members.lacksWrite("slewsettletime", { SlewSettleTime: "int" });
    members.lacksWrite("findhome");
    this.#addReadings();
    this.#addParking();
    addTracking(members, mount);
    addSlews(members, world, slews);
    addAxes(members, mount, spec.mount.slewDegreesPerSecond);
    this.#guideRates = addGuiding(members, mount);
    addSiteAndTime(members, world);
  }

  override settings(): Record<string, unknown> {
    const { ra, dec } = rateOffsets(this.world.mount);
    const { east, north } = this.#guideRates;
    return {
      ...super.settings(),
      guideRates: `${east} ${north}`,
      rateOffsets: `${ra.toFixed(9)} ${dec.toFixed(7)}`,
    };
  }

  #addReadings(): void {
    const { members } = this;
    const { mount } = this.world;
    const horizontal = () => horizontalOf(mount.believed, mount.believedSite, mount.siderealHours());
    members.reads("rightascension", () => mount.believed.raHours);
    members.reads("declination", () => mount.believed.decDegrees);
    members.reads("altitude", () => horizontal().altitude);
    members.reads("azimuth", () => horizontal().azimuth);
    members.reads("sideofpier", () => pierSideNumber[mount.pierSide ?? "east"]);
    members.reads("alignmentmode", () => alignment[mount.pierSide === undefined ? "polar" : "germanPolar"]);
    members.reads("siderealtime", () => mount.siderealHours());
    members.reads("slewing", () => isSlewing(mount));
    members.reads("atpark", () => mount.parked);
  }

  #addParking(): void {
    const { mount } = this.world;
    this.members.writes("park", {}, () => {
      if (mount.phase !== "parking") mount.park();
    });
    this.members.writes("unpark", {}, () => {
      if (mount.phase === "parking") throw invalidOperation("the mount is parking");
      mount.unpark();
    });
    this.members.writes("setpark", {}, () => {
      mount.parkAt = { ...mount.believedAxes };
    });
  }
}
