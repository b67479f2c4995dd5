import type { Clock } from "../../drivers/kit/clock.ts";
import { hourAngleArcsecPerSecond } from "../scene/mechanics/mount-rates.ts";
import { type Direction, modulo, type Site, wrapDegrees } from "../scene/sun/sun-place.ts";
import type { ExternalDevices } from "../scene/world.ts";
import type { XmlElement } from "./element-parser.ts";
import { readNumber } from "./number-text.ts";

type Values = ReadonlyMap<string, string>;

/** What is asked of each device that ACTIVE_DEVICES names. */
const snoops: Readonly<Record<string, readonly string[]>> = {
  ACTIVE_TELESCOPE: [
    "EQUATORIAL_EOD_COORD",
    "TELESCOPE_TRACK_STATE",
    "TELESCOPE_TRACK_MODE",
    "GEOGRAPHIC_COORD",
  ],
  ACTIVE_FOCUSER: ["ABS_FOCUS_POSITION"],
  ACTIVE_FILTER: ["FILTER_SLOT"],
  ACTIVE_ROTATOR: ["ABS_ROTATOR_ANGLE"],
  ACTIVE_COVER: ["CAP_PARK"],
  ACTIVE_DIFFUSER: ["CAP_PARK"],
};

const rates: Readonly<Record<string, number>> = {
  TRACK_SOLAR: hourAngleArcsecPerSecond.solar,
  TRACK_LUNAR: hourAngleArcsecPerSecond.lunar,
};

export interface SnoopedRigOptions {
  readonly clock: Clock;
  readonly active: Readonly<Record<string, string>>;
  readonly mount: {
    readonly pointingErrorDegrees: { readonly east: number; readonly north: number };
    readonly driftArcsecPerSecond: { readonly east: number; readonly north: number };
  };
  /** How long a leaf takes from end to end [s]; its driver tells only when it starts and ends. */
  readonly leafSeconds: { readonly cover: number; readonly diffuser: number };
}

/** A leaf as its CAP_PARK tells of it: at an end, or on its way since some moment. */
class SnoopedLeaf {
  #from: number | undefined;
  #target: number | undefined;
  #sinceMs = 0;
  constructor(
    readonly clock: Clock,
    readonly parkedAt: 0 | 1,
    readonly seconds: number,
  ) {}

  get position(): number | undefined {
    if (this.#from === undefined || this.#target === undefined) return this.#from;
    const gone = (this.clock.nowMs() - this.#sinceMs) / 1000 / this.seconds;
    const way = this.#target - this.#from;
    return Math.abs(way) <= gone ? this.#target : this.#from + Math.sign(way) * gone;
  }

  hear(state: string, values: Values): void {
    const on =
      values.get("PARK") === "On"
        ? this.parkedAt
        : values.get("UNPARK") === "On"
          ? 1 - this.parkedAt
          : undefined;
    if (on === undefined) return;
    if (state === "Busy") {
      this.#from = this.position ?? 1 - on;
      this.#target = on;
      this.#sinceMs = this.clock.nowMs();
    } else if (state === "Ok" || this.#from === undefined) {
      this.#from = on;
      this.#target = undefined;
    }
  }
}

/**
 * The rest of the rig as a camera's driver hears of it from other drivers. Between two reports the sky is carried
 * on: a mount is silent while it tracks.
 */
export class SnoopedRig implements ExternalDevices {
  readonly #o: SnoopedRigOptions;
  /** ACTIVE_* → device name, of the devices that are followed. */
  active: Readonly<Record<string, string>>;
  readonly #cover: SnoopedLeaf;
  readonly #diffuser: SnoopedLeaf;
  #last: (Direction & { atMs: number; state: string }) | undefined;
  #tracking = false;
  #trackingSinceMs = 0;
  #rateArcsec = hourAngleArcsecPerSecond.sidereal as number;
  site: Site | undefined;
  focusSteps: number | undefined;
  wheelSlot: number | undefined;
  rotatorDegrees: number | undefined;

  constructor(options: SnoopedRigOptions) {
    this.#o = options;
    this.active = options.active;
    this.#cover = new SnoopedLeaf(options.clock, 0, options.leafSeconds.cover);
    this.#diffuser = new SnoopedLeaf(options.clock, 1, options.leafSeconds.diffuser);
  }

  /** The devices and properties to listen to. */
  wishes(): { device: string; name: string }[] {
    return Object.entries(this.active).flatMap(([role, device]) =>
      device === "" ? [] : (snoops[role] ?? []).map((name) => ({ device, name })),
    );
  }

  /** Takes in a def or set of another device; anything else is ignored. */
  hear(element: XmlElement): void {
    const { device = "", name = "", state = "" } = element.attributes;
    if (!/^(def|set)/.test(element.tag)) return;
    const values = new Map(element.children.map((c) => [c.attributes.name ?? "", c.text.trim()]));
    for (const [role, active] of Object.entries(this.active)) {
      if (active === device && snoops[role]?.includes(name)) this.#take(role, name, state, values);
    }
  }

  #take(role: string, name: string, state: string, values: Values): void {
    const number = (element: string) => readNumber(values.get(element) ?? "");
    if (name === "EQUATORIAL_EOD_COORD") this.#takePointing(state, number("RA"), number("DEC"));
    else if (name === "TELESCOPE_TRACK_STATE") this.#takeTracking(values.get("TRACK_ON") === "On");
    else if (name === "TELESCOPE_TRACK_MODE") {
      this.#rebase();
      const chosen = [...values].find(([, value]) => value === "On")?.[0] ?? "";
      this.#rateArcsec = rates[chosen] ?? hourAngleArcsecPerSecond.sidereal;
    } else if (name === "GEOGRAPHIC_COORD") this.#takeSite(number("LAT"), number("LONG"), number("ELEV"));
    else if (name === "ABS_FOCUS_POSITION") this.focusSteps = number("FOCUS_ABSOLUTE_POSITION");
    else if (name === "FILTER_SLOT") this.wheelSlot = number("FILTER_SLOT_VALUE");
    else if (name === "ABS_ROTATOR_ANGLE") this.rotatorDegrees = number("ANGLE");
    else if (name === "CAP_PARK")
      (role === "ACTIVE_COVER" ? this.#cover : this.#diffuser).hear(state, values);
  }

  #takePointing(state: string, raHours: number | undefined, decDegrees: number | undefined): void {
    if (raHours === undefined || decDegrees === undefined) return;
    const atMs = this.#o.clock.nowMs();
    if (this.#last?.state === "Busy" && state !== "Busy") this.#trackingSinceMs = atMs;
    this.#last = { raHours, decDegrees, atMs, state };
  }

  #takeTracking(on: boolean): void {
    if (on === this.#tracking) return;
    this.#rebase();
    this.#tracking = on;
    this.#trackingSinceMs = this.#o.clock.nowMs();
  }

  /** The way since the last report belongs to the rate that was in force. */
  #rebase(): void {
    const now = this.pointing;
    if (now && this.#last) this.#last = { ...this.#last, ...now, atMs: this.#o.clock.nowMs() };
  }

  #takeSite(lat: number | undefined, long: number | undefined, elev: number | undefined): void {
    if (lat === undefined || long === undefined) return;
    this.site = { latitudeDegrees: lat, longitudeDegrees: wrapDegrees(long), elevationMetres: elev ?? 0 };
  }

  /** The last report, carried on to now. */
  get pointing(): Direction | undefined {
    const last = this.#last;
    if (!last || last.state === "Busy") return last && { raHours: last.raHours, decDegrees: last.decDegrees };
    const seconds = (this.#o.clock.nowMs() - last.atMs) / 1000;
    const eastArcsec =
      (hourAngleArcsecPerSecond.sidereal - (this.#tracking ? this.#rateArcsec : 0)) * seconds;
    return { raHours: modulo(last.raHours + eastArcsec / 54_000, 24), decDegrees: last.decDegrees };
  }

  get lineOfSight(): Direction | undefined {
    const at = this.pointing;
    if (!at) return undefined;
    const { pointingErrorDegrees: error, driftArcsecPerSecond: drift } = this.#o.mount;
    const seconds = this.#tracking ? (this.#o.clock.nowMs() - this.#trackingSinceMs) / 1000 : 0;
    const east = error.east + (drift.east * seconds) / 3600;
    const north = error.north + (drift.north * seconds) / 3600;
    const cosDec = Math.max(0.05, Math.cos((at.decDegrees * Math.PI) / 180));
    return {
      raHours: modulo(at.raHours + east / cosDec / 15, 24),
      decDegrees: Math.max(-90, Math.min(90, at.decDegrees + north)),
    };
  }

  get coverOpen(): number | undefined {
    return this.#cover.position;
  }
  get diffuserIn(): number | undefined {
    return this.#diffuser.position;
  }
}
