import type { Clock } from "../../../drivers/kit/clock.ts";
import { constant, Fault, kept, type Member, type ScriptedAlpaca } from "./scripted-alpaca.ts";

export const mountName = "Test Mount";

export interface MountScript {
  readonly version?: number;
  readonly equatorialSystem?: number;
  readonly parked?: boolean;
  readonly tracking?: boolean;
  readonly rates?: readonly number[];
  /** Falls back to sidereal with every slew. */
  readonly forgetsRate?: boolean;
  /** Accepts a rate and does not take it. */
  readonly deafToRate?: boolean;
  readonly canPulse?: boolean;
  /** Pulses north go south, and by less than they should. */
  readonly pulseGain?: { readonly ra: number; readonly dec: number };
  /** Ends slews this far off [arcsec]. */
  readonly missArcsec?: number;
  /** Answers a slew and does not begin one. */
  readonly ignoresSlews?: boolean;
  readonly syncSlews?: boolean;
  /** 0 altazimuth, 1 polar, 2 German. */
  readonly alignmentMode?: number;
  /** Now west; east for right ascensions of less than 6.5 h. */
  readonly tellsPierSide?: boolean;
  readonly deviceState?: boolean;
  readonly slewDegreesPerSecond?: number;
  /** Says that it slews from its first slew or abort on, for ever. */
  readonly staysSlewing?: boolean;
}

const siderealHoursPerSecond = 1.0027379 / 3600;

/** A mount from the description: equatorial, 3 degrees per second, with park and rate offsets. */
export class ScriptedMount {
  raHours = 6;
  decDegrees = 20;
  tracking: boolean;
  parked: boolean;
  rate = 0;
  raOffset = 0;
  pulses: { direction: number; ms: number }[] = [];
  slews: { ra: number; dec: number }[] = [];
  #slew:
    | {
        from: { ra: number; dec: number };
        to: { ra: number; dec: number };
        startMs: number;
        seconds: number;
        parks: boolean;
      }
    | undefined;
  #pulseUntilMs = 0;
  #hasSlewed = false;
  #readMs: number;
  readonly #startMs: number;
  readonly #clock: Clock;
  readonly #script: MountScript;

  constructor(server: ScriptedAlpaca, clock: Clock, script: MountScript = {}) {
    this.#clock = clock;
    this.#script = script;
    this.#startMs = clock.nowMs();
    this.#readMs = clock.nowMs();
    this.tracking = script.tracking ?? true;
    this.parked = script.parked ?? false;
    const version = script.version ?? 4;
    const readings: Record<string, () => unknown> = {
      RightAscension: () => this.#place().ra,
      Declination: () => this.#place().dec,
      Slewing: () => this.#isSlewing(),
      Tracking: () => this.tracking,
      AtPark: () => this.#settle().parked,
      IsPulseGuiding: () => clock.nowMs() < this.#pulseUntilMs,
    };
    const single = Object.fromEntries(
      Object.entries(readings).map(([name, get]) => [name.toLowerCase(), { get }]),
    ) as Record<string, Member>;
    const members: Record<string, Member> = {
      ...single,
      tracking: {
        get: () => this.tracking,
        put: (form) => {
          const on = form.get("Tracking") === "True";
          if (on && this.#settle().parked) throw new Fault(0x408, "parked");
          this.#place();
          this.tracking = on;
        },
      },
      trackingrates: constant(script.rates ?? [0, 1, 2]),
      trackingrate: {
        get: () => this.rate,
        put: (form) => {
          if (script.deafToRate !== true) this.rate = Number(form.get("TrackingRate"));
        },
      },
      rightascensionrate: {
        get: () => (this.rate === 0 ? this.raOffset : 0),
        put: (form) => {
          if (this.rate !== 0) throw new Fault(0x40b, "only at sidereal rate");
          this.raOffset = Number(form.get("RightAscensionRate"));
        },
      },
      cansetrightascensionrate: constant(true),
      cansetdeclinationrate: constant(false),
      equatorialsystem: constant(script.equatorialSystem ?? 1),
      canslewasync: constant(script.syncSlews !== true),
      canslew: constant(script.syncSlews === true),
      canpark: constant(true),
      canunpark: constant(true),
      cansync: constant(true),
      cansettracking: constant(true),
      canpulseguide: constant(script.canPulse ?? true),
      cansetguiderates: constant(false),
      guideraterightascension: constant(7.52 / 3600),
      guideratedeclination: constant(7.52 / 3600),
      siderealtime: { get: () => (6.5 + siderealHoursPerSecond * this.#elapsedSeconds()) % 24 },
      ...(script.alignmentMode === undefined ? {} : { alignmentmode: constant(script.alignmentMode) }),
      ...(script.tellsPierSide === true
        ? {
            sideofpier: constant(1),
            destinationsideofpier: {
              get: (query: URLSearchParams) => (Number(query.get("RightAscension")) < 6.5 ? 0 : 1),
            },
          }
        : {}),
      sitelatitude: constant(46.5),
      sitelongitude: constant(9.8),
      siteelevation: constant(1720),
      utcdate: { get: () => `${new Date(clock.nowMs()).toISOString().slice(0, 19)}.1234567Z` },
      slewtocoordinatesasync: { put: (form) => this.#begin(form) },
      synctocoordinates: {
        put: (form) => {
          this.raHours = Number(form.get("RightAscension"));
          this.decDegrees = Number(form.get("Declination"));
        },
      },
      abortslew: { put: () => this.#abort() },
      park: { put: () => this.#park() },
      unpark: {
        put: () => {
          this.parked = false;
        },
      },
      pulseguide: { put: (form) => this.#pulse(form) },
      declinationrate: kept("DeclinationRate", 0),
      ...(version >= 4 && script.deviceState !== false
        ? {
            devicestate: {
              get: () => Object.entries(readings).map(([Name, read]) => ({ Name, Value: read() })),
            },
          }
        : {}),
    };
    server.add("Telescope", mountName, members, { version });
  }

  /** As another client sends it. */
  slewFromElsewhere(ra: number, dec: number): void {
    this.#move({ ra, dec }, false);
  }

  #elapsedSeconds(): number {
    return (this.#clock.nowMs() - this.#startMs) / 1000;
  }

  /** Lets the time since the last look pass. */
  #settle(): this {
    this.#place();
    return this;
  }

  #place(): { ra: number; dec: number } {
    const now = this.#clock.nowMs();
    const seconds = (now - this.#readMs) / 1000;
    this.#readMs = now;
    const slew = this.#slew;
    if (slew) {
      const part = Math.min(1, (now - slew.startMs) / 1000 / slew.seconds);
      this.raHours = slew.from.ra + (slew.to.ra - slew.from.ra) * part;
      this.decDegrees = slew.from.dec + (slew.to.dec - slew.from.dec) * part;
      if (part >= 1) this.#end(slew.parks);
    } else if (!this.tracking) {
      this.raHours = (this.raHours + siderealHoursPerSecond * seconds) % 24;
    } else if (this.rate === 2) {
      this.raHours += (0.0411 * seconds) / 54_000;
    }
    return { ra: this.raHours, dec: this.decDegrees };
  }

  #end(parks: boolean): void {
    this.#slew = undefined;
    if (!parks) return;
    this.parked = true;
    this.tracking = false;
  }

  #isSlewing(): boolean {
    this.#place();
    return this.#slew !== undefined || (this.#script.staysSlewing === true && this.#hasSlewed);
  }

  #begin(form: URLSearchParams): void {
    if (this.#settle().parked) throw new Fault(0x408, "parked");
    if (!this.tracking) throw new Fault(0x40b, "tracking is off");
    const to = { ra: Number(form.get("RightAscension")), dec: Number(form.get("Declination")) };
    this.slews.push(to);
    this.#hasSlewed = true;
    if (to.dec < -40) throw new Fault(0x40b, "below the horizon");
    if (this.#script.ignoresSlews) return;
    if (this.#script.forgetsRate) this.rate = 0;
    const miss = this.slews.length === 1 ? (this.#script.missArcsec ?? 0) / 3600 : 0;
    this.#move({ ...to, dec: to.dec + miss }, false);
  }

  #move(to: { ra: number; dec: number }, parks: boolean): void {
    const from = this.#place();
    const degrees = Math.max(Math.abs(to.dec - from.dec), 15 * Math.abs(to.ra - from.ra));
    const seconds = degrees / (this.#script.slewDegreesPerSecond ?? 3) + 0.4;
    this.#slew = { from, to, startMs: this.#clock.nowMs(), seconds, parks };
  }

  #park(): void {
    if (!this.parked) this.#move({ ra: 0.5, dec: 89 }, true);
  }

  #abort(): void {
    if (this.#settle().parked) throw new Fault(0x408, "parked");
    this.#slew = undefined;
  }

  #pulse(form: URLSearchParams): void {
    if (this.#settle().parked) throw new Fault(0x408, "parked");
    const [direction, ms] = [Number(form.get("Direction")), Number(form.get("Duration"))];
    this.pulses.push({ direction, ms });
    this.#pulseUntilMs = this.#clock.nowMs() + ms;
    const gain = this.#script.pulseGain ?? { ra: 1, dec: 1 };
    const arcsec = (ms / 1000) * 7.52 * (direction === 1 || direction === 3 ? -1 : 1);
    if (direction <= 1) this.decDegrees += (arcsec * gain.dec) / 3600;
    else this.raHours += (arcsec * gain.ra) / 54_000;
  }
}
