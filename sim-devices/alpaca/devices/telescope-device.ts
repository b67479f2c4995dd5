import { hourAngleArcsecPerSecond, trackDegreesPerSecond } from "../../scene/mechanics/mount-rates.ts";
import type { Direction } from "../../scene/sun-place.ts";
import type { World } from "../../scene/world.ts";
import { invalidOperation, invalidValue, notImplemented, valueNotSet, whileParked } from "../ascom-error.ts";
import { type DeviceOptions, type Identity, SimAlpacaDevice } from "../sim-alpaca-device.ts";
import { equatorialOf, horizontalOf } from "./horizon.ts";
import { normalPierSide, telescopeFacts } from "./telescope-facts.ts";
import { driveRateOf, driveRates, rateOffsets, setRateOffsets } from "./telescope-rates.ts";

export interface TelescopeDeviceOptions extends DeviceOptions {
  /** Whether slews answer at once, only at their end, or either way as asked; Platform 7 knows only the first. */
  readonly slews: "async" | "sync" | "both";
}

const axisMinDegreesPerSecond = 0.001;
const axes = ["east", "north"] as const;
/** Direction on the axis, by GuideDirection: north, south, east, west. */
const guideWays = [
  ["north", 1],
  ["south", -1],
  ["east", 1],
  ["west", -1],
] as const;
const raDec = { RightAscension: "number", Declination: "number" } as const;
const altAz = { Azimuth: "number", Altitude: "number" } as const;

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
  /** [degrees/s] */
  readonly #guide = {
    ra: (0.5 * hourAngleArcsecPerSecond.sidereal) / 3600,
    dec: (0.5 * hourAngleArcsecPerSecond.sidereal) / 3600,
  };
  readonly #target: { raHours: number | undefined; decDegrees: number | undefined } = {
    raHours: undefined,
    decDegrees: undefined,
  };

  constructor(identity: Identity, world: World, options: TelescopeDeviceOptions) {
    super(identity, world, options, "Simulated equatorial mount");
    const slews = { async: options.slews !== "sync", sync: options.slews !== "async" };
    for (const [name, value] of Object.entries(telescopeFacts(world, slews))) this.reads(name, () => value);
    this.readsWith("destinationsideofpier", raDec, ({ RightAscension, Declination }) => {
      placeOf(RightAscension, Declination);
      return normalPierSide;
    });
    this.lacksWrite("sideofpier", { SideOfPier: "int" });
    this.lacksWrite("doesrefraction", { DoesRefraction: "boolean" });
    this.lacksWrite("slewsettletime", { SlewSettleTime: "int" });
    this.lacksWrite("findhome");
    this.lacksWrite("synctoaltaz", altAz);
    this.#addReadings();
    this.#addTracking();
    this.#addTarget();
    this.#addSlews(slews);
    this.#addParking();
    this.#addAxes();
    this.#addGuiding();
    this.#addSiteAndTime();
  }

  override settings(): Record<string, unknown> {
    const { ra, dec } = rateOffsets(this.world.mount);
    return {
      ...super.settings(),
      guideRates: `${this.#guide.ra} ${this.#guide.dec}`,
      rateOffsets: `${ra.toFixed(9)} ${dec.toFixed(7)}`,
    };
  }

  get #isSlewing(): boolean {
    const { mount } = this.world;
    return mount.phase !== "still" || mount.jogging;
  }

  #addReadings(): void {
    const { mount } = this.world;
    const horizontal = () => horizontalOf(mount.believed, mount.believedSite, mount.siderealHours());
    this.reads("rightascension", () => mount.believed.raHours);
    this.reads("declination", () => mount.believed.decDegrees);
    this.reads("altitude", () => horizontal().altitude);
    this.reads("azimuth", () => horizontal().azimuth);
    this.reads("siderealtime", () => mount.siderealHours());
    this.reads("slewing", () => this.#isSlewing);
    this.reads("atpark", () => mount.parked);
    this.reads("ispulseguiding", () => mount.pulsing);
  }

  #addTracking(): void {
    const { mount } = this.world;
    this.reads("tracking", () => mount.tracking);
    this.writes("tracking", { Tracking: "boolean" }, ({ Tracking }) => {
      if (mount.parked && !Tracking) return;
      this.#checkFree("tracking");
      mount.setTracking(Tracking);
    });
    this.reads("trackingrates", () => driveRates.map((_, number) => number));
    this.reads("trackingrate", () => driveRateOf(mount.rate));
    this.writes("trackingrate", { TrackingRate: "int" }, ({ TrackingRate }) => {
      const rate = driveRates[TrackingRate];
      if (!rate) throw invalidValue(`there is no tracking rate ${TrackingRate}`);
      if (mount.phase !== "still") throw invalidOperation("the mount slews");
      // Offsets belong to the sidereal rate: asking for that again leaves them.
      if (driveRateOf(mount.rate) !== TrackingRate) mount.setTracking(mount.tracking, rate);
    });
    this.reads("rightascensionrate", () => rateOffsets(mount).ra);
    this.reads("declinationrate", () => rateOffsets(mount).dec);
    this.writes("rightascensionrate", { RightAscensionRate: "number" }, ({ RightAscensionRate: ra }) =>
      this.#offset({ ra }),
    );
    this.writes("declinationrate", { DeclinationRate: "number" }, ({ DeclinationRate: dec }) =>
      this.#offset({ dec }),
    );
  }

  #offset(change: { ra: number } | { dec: number }): void {
    const { mount } = this.world;
    if (driveRateOf(mount.rate) !== 0) throw invalidOperation("rate offsets go with the sidereal rate only");
    if (mount.phase !== "still") throw invalidOperation("the mount slews");
    const wanted = { ...rateOffsets(mount), ...change };
    if (Math.abs(wanted.ra) > 10 || Math.abs(wanted.dec) > 150) throw invalidValue("a rate offset too large");
    setRateOffsets(mount, wanted);
  }

  #addTarget(): void {
    const target = this.#target;
    this.reads("targetrightascension", () => set(target.raHours, "the target's right ascension"));
    this.reads("targetdeclination", () => set(target.decDegrees, "the target's declination"));
    this.writes("targetrightascension", { TargetRightAscension: "number" }, (given) => {
      target.raHours = placeOf(given.TargetRightAscension, 0).raHours;
    });
    this.writes("targetdeclination", { TargetDeclination: "number" }, (given) => {
      target.decDegrees = placeOf(0, given.TargetDeclination).decDegrees;
    });
  }

  /** A parked mount says so first, whether there is a target or not. */
  #targetPlace(): Direction {
    this.#checkFree("a target");
    return {
      raHours: set(this.#target.raHours, "the target's right ascension"),
      decDegrees: set(this.#target.decDegrees, "the target's declination"),
    };
  }

  #addSlews(offered: { readonly async: boolean; readonly sync: boolean }): void {
    const { mount } = this.world;
    const toPlace = (place: Direction) => {
      this.#checkFree("a slew");
      if (!mount.tracking && mount.phase === "still") throw invalidOperation("tracking is off");
      Object.assign(this.#target, place);
      this.#slew(place, true);
    };
    const toHorizon = (altitude: number, azimuth: number) => {
      if (!(altitude >= 0 && altitude <= 90)) throw invalidValue(`altitude ${altitude} is outside 0 to 90`);
      if (!(azimuth >= 0 && azimuth < 360)) throw invalidValue(`azimuth ${azimuth} is outside 0 to 360`);
      this.#checkFree("a slew");
      if (mount.tracking) throw invalidOperation("tracking is on");
      this.#slew(equatorialOf({ altitude, azimuth }, mount.believedSite, mount.siderealHours()), false);
    };
    const both = (kind: string, kinds: Record<string, "number">, start: (given: never) => void) => {
      const act = start as (given: Readonly<Record<string, number>>) => void;
      if (offered.async) this.writes(`${kind}async`, kinds, act);
      else this.lacksWrite(`${kind}async`, kinds);
      if (!offered.sync) {
        this.lacksWrite(kind, kinds);
        return;
      }
      this.writes(kind, kinds, (given) => {
        act(given);
        return this.#untilStill();
      });
    };
    both("slewtocoordinates", raDec, ({ RightAscension, Declination }: Record<string, number>) =>
      toPlace(placeOf(RightAscension!, Declination!)),
    );
    both("slewtotarget", {}, () => toPlace(this.#targetPlace()));
    both("slewtoaltaz", altAz, ({ Altitude, Azimuth }: Record<string, number>) =>
      toHorizon(Altitude!, Azimuth!),
    );
    const sync = (place: Direction) => {
      this.#checkFree("a sync");
      if (!mount.tracking) throw invalidOperation("tracking is off");
      Object.assign(this.#target, place);
      mount.syncTo(place);
    };
    this.writes("synctocoordinates", raDec, ({ RightAscension, Declination }) =>
      sync(placeOf(RightAscension, Declination)),
    );
    this.writes("synctotarget", {}, () => sync(this.#targetPlace()));
    this.writes("abortslew", {}, () => {
      if (mount.parked) throw whileParked("an abort");
      mount.stop();
    });
  }

  #slew(place: Direction, trackAfter: boolean): void {
    const refusal = this.world.mount.slewTo(place, trackAfter);
    if (refusal !== undefined) throw invalidOperation(refusal);
  }

  /** @throws AscomError 0x408 parked, 0x40B on its way to be */
  #checkFree(what: string): void {
    const { mount } = this.world;
    if (mount.parked) throw whileParked(what);
    if (mount.phase === "parking") throw invalidOperation(`${what}: the mount is parking`);
  }

  #untilStill(): Promise<void> {
    return new Promise((resolve) => {
      const stop = this.world.listen(() => {
        if (this.#isSlewing) return;
        stop();
        resolve();
      });
    });
  }

  #addParking(): void {
    const { mount } = this.world;
    this.writes("park", {}, () => {
      if (mount.phase !== "parking") mount.park();
    });
    this.writes("unpark", {}, () => {
      if (mount.phase === "parking") throw invalidOperation("the mount is parking");
      mount.unpark();
    });
    this.writes("setpark", {}, () => {
      mount.parkAt = { ...mount.believedAxes };
    });
  }

  #addAxes(): void {
    const { mount, spec } = this.world;
    const maximum = spec.mount.slewDegreesPerSecond;
    const check = (axis: number) => {
      if (axis < 0 || axis > 2) throw invalidValue(`there is no axis ${axis}`);
      return axes[axis];
    };
    const axis = { Axis: "int" } as const;
    this.readsWith("canmoveaxis", axis, ({ Axis }) => check(Axis) !== undefined);
    this.readsWith("axisrates", axis, ({ Axis }) =>
      check(Axis) ? [{ Minimum: axisMinDegreesPerSecond, Maximum: maximum }] : [],
    );
    this.writes("moveaxis", { ...axis, Rate: "number" }, ({ Axis, Rate }) => {
      const name = check(Axis);
      if (!name) throw notImplemented(`moving axis ${Axis}`);
      const speed = Math.abs(Rate);
      if (Rate !== 0 && !(speed >= axisMinDegreesPerSecond && speed <= maximum)) {
        throw invalidValue(`a rate of ${Rate} degrees/s is outside ${axisMinDegreesPerSecond} to ${maximum}`);
      }
      this.#checkFree("moving an axis");
      if (mount.phase === "slewing") throw invalidOperation("the mount slews");
      mount.jog(name, Rate === 0 ? 0 : Rate + this.#trackingOn(name));
    });
  }

  /** What tracking does to an axis, so that its motion can be the rate asked for and nothing else [degrees/s]. */
  #trackingOn(axis: "east" | "north"): number {
    const { mount } = this.world;
    if (!mount.tracking) return 0;
    const { ha, dec } = trackDegreesPerSecond(mount.rate, mount.customRate);
    return axis === "east" ? ha : -dec;
  }

  #addGuiding(): void {
    const { mount } = this.world;
    const guide = this.#guide;
    const siderealDegrees = hourAngleArcsecPerSecond.sidereal / 3600;
    const check = (rate: number) => {
      if (rate > 0 && rate <= siderealDegrees) return rate;
      throw invalidValue(`a guide rate of ${rate} degrees/s is outside 0 to ${siderealDegrees}`);
    };
    this.reads("guideraterightascension", () => guide.ra);
    this.reads("guideratedeclination", () => guide.dec);
    this.writes("guideraterightascension", { GuideRateRightAscension: "number" }, (given) => {
      guide.ra = check(given.GuideRateRightAscension);
    });
    this.writes("guideratedeclination", { GuideRateDeclination: "number" }, (given) => {
      guide.dec = check(given.GuideRateDeclination);
    });
    this.writes("pulseguide", { Direction: "int", Duration: "int" }, ({ Direction, Duration }) => {
      const way = guideWays[Direction];
      if (!way) throw invalidValue(`there is no guide direction ${Direction}`);
      if (Duration < 0) throw invalidValue(`a pulse of ${Duration} ms`);
      this.#checkFree("a guide pulse");
      if (this.#isSlewing) throw invalidOperation("the mount moves");
      const [name, sign] = way;
      const rate = sign * (name === "east" || name === "west" ? guide.ra : guide.dec);
      const axis = name === "north" || name === "south" ? "north" : "east";
      if (Duration > 0) mount.pulse(axis, rate, Duration / 1000, () => {});
    });
  }

  #addSiteAndTime(): void {
    const { mount, clock } = this.world;
    const add = (
      name: string,
      parameter: string,
      key: keyof typeof mount.believedSite,
      range: [number, number],
    ) => {
      this.reads(name, () => mount.believedSite[key]);
      this.writes(name, { [parameter]: "number" }, (given) => {
        const value = given[parameter] as number;
        const [min, max] = range;
        if (!(value >= min && value <= max))
          throw invalidValue(`${parameter} ${value} is outside ${min} to ${max}`);
        mount.believedSite = { ...mount.believedSite, [key]: value };
      });
    };
    add("sitelatitude", "SiteLatitude", "latitudeDegrees", [-90, 90]);
    add("sitelongitude", "SiteLongitude", "longitudeDegrees", [-180, 180]);
    add("siteelevation", "SiteElevation", "elevationMetres", [-300, 10_000]);
    this.reads("utcdate", () => new Date(mount.believedUtcMs).toISOString());
    this.writes("utcdate", { UTCDate: "text" }, ({ UTCDate }) => {
      const utcMs = /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,7})?Z$/.test(UTCDate)
        ? Date.parse(UTCDate)
        : Number.NaN;
      if (Number.isNaN(utcMs))
        throw invalidValue(`"${UTCDate}" is no date of the form 2026-06-21T10:00:00.0Z`);
      mount.clockErrorSeconds = (utcMs - clock.nowMs()) / 1000;
    });
  }
}

/** @throws AscomError 0x401 for what is not on the sky */
function placeOf(raHours: number, decDegrees: number): Direction {
  if (!(raHours >= 0 && raHours < 24)) throw invalidValue(`right ascension ${raHours} h is outside 0 to 24`);
  if (!(Math.abs(decDegrees) <= 90)) throw invalidValue(`declination ${decDegrees} is outside -90 to 90`);
  return { raHours, decDegrees };
}

function set(value: number | undefined, what: string): number {
  if (value === undefined) throw valueNotSet(what);
  return value;
}
