import type { Clock, ClockTimer } from "../../../drivers/kit/clock.ts";
import type { SceneSpec } from "../scene-spec.ts";
import { type Direction, modulo, type Site, siderealHours, wrapDegrees } from "../sun-place.ts";
import { Axis } from "./axis.ts";
import { secondsInside, whyOutside } from "./mount-limits.ts";
import { type AxisRates, type TrackRate, trackDegreesPerSecond } from "./mount-rates.ts";
import { planSlew } from "./mount-slew.ts";

export type MountPhase = "still" | "slewing" | "parking";
export type MountNews =
  | "slewStarted"
  | "slewOverlapped"
  | "slewEnded"
  | "slewStopped"
  | "parkStarted"
  | "parked"
  | "parkStopped"
  | "unparked"
  | "trackingOn"
  | "trackingOff"
  | "jogStarted"
  | "jogEnded"
  | "synced"
  | "limitRefused"
  | "limitReached";

/** The moment at which a motion ends by itself, and what is otherwise from then on. */
interface MotionEnd {
  readonly atMs: number;
  happen(): void;
}

/** How often a jog is looked at for limits [s]. */
const jogLookSeconds = 0.25;

export interface MountOptions {
  readonly clock: Clock;
  readonly spec: SceneSpec["mount"];
  readonly site: Site;
  readonly parkAt: { readonly hourAngleDegrees: number; readonly decDegrees: number };
  readonly note: (what: MountNews, detail?: string) => void;
}

/**
 * An equatorial mount. The motors turn at constant rates between commands; where they are is summed up whenever
 * somebody looks. What it believes and where the tube points differ by pointing error, play and drift.
 */
export class MountMechanics {
  readonly #o: MountOptions;
  readonly #ha: Axis;
  readonly #dec: Axis;
  #summedMs: number;
  #phase: MountPhase = "still";
  #slewRate = { ha: 0, dec: 0 };
  #slewTarget: Direction | undefined;
  #slewTimer: ClockTimer | undefined;
  #limitTimer: ClockTimer | undefined;
  readonly #pulses: { east: ClockTimer | undefined; north: ClockTimer | undefined } = {
    east: undefined,
    north: undefined,
  };
  #slewEnds: MotionEnd | undefined;
  readonly #pulseEnds: { east: MotionEnd | undefined; north: MotionEnd | undefined } = {
    east: undefined,
    north: undefined,
  };
  readonly #extra = { jogEast: 0, jogNorth: 0, pulseEast: 0, pulseNorth: 0 };
  #sync = { ha: 0, dec: 0 };
  #driftArcsec = { east: 0, north: 0 };
  #trackAfterSlew = false;
  /** The site and clock error that the mount believes in; the truth about both is the scene's. */
  believedSite: Site;
  clockErrorSeconds = 0;
  tracking: boolean;
  parked: boolean;
  rate: TrackRate = "sidereal";
  #stalled = false;
  /** Used by the custom rate: hour angle and declination [arcsec/s]. */
  customRate = { ha: 15.041067, dec: 0 };
  parkAt: { hourAngleDegrees: number; decDegrees: number };

  constructor(options: MountOptions) {
    this.#o = options;
    this.believedSite = options.site;
    this.parkAt = { ...options.parkAt };
    const { spec } = options;
    this.parked = spec.startsParked;
    this.tracking = spec.startsTracking && !spec.startsParked;
    const start = spec.startsParked
      ? options.parkAt
      : {
          hourAngleDegrees: spec.startPointing.hourAngleHours * 15,
          decDegrees: spec.startPointing.decDegrees,
        };
    this.#ha = new Axis(start.hourAngleDegrees, spec.backlashArcsec.east / 3600);
    this.#dec = new Axis(start.decDegrees, spec.backlashArcsec.north / 3600);
    this.#summedMs = options.clock.nowMs();
    this.#watchLimits();
  }

  get phase(): MountPhase {
    return this.#phase;
  }
  get motorsStalled(): boolean {
    return this.#stalled;
  }
  /** Fault: says that it tracks, and stands still. */
  stall(on: boolean): void {
    this.#sum();
    this.#stalled = on;
    this.#watchLimits();
  }
  get jogging(): boolean {
    return this.#extra.jogEast !== 0 || this.#extra.jogNorth !== 0;
  }
  get pulsing(): boolean {
    return this.#pulses.east !== undefined || this.#pulses.north !== undefined;
  }
  /** Where a slew under way will end. */
  get slewTarget(): Direction | undefined {
    return this.#slewTarget;
  }

  /** Motor angles as the mount's own electronics count them, model included. */
  get believedAxes(): { hourAngleDegrees: number; decDegrees: number } {
    this.#sum();
    return {
      hourAngleDegrees: wrapDegrees(this.#ha.motorDegrees + this.#sync.ha),
      decDegrees: this.#dec.motorDegrees + this.#sync.dec,
    };
  }

  /** Of date, as the mount reports it. */
  get believed(): Direction {
    const { hourAngleDegrees, decDegrees } = this.believedAxes;
    return { raHours: modulo(this.siderealHours() - hourAngleDegrees / 15, 24), decDegrees };
  }

  /** Where the optical axis truly points, of date. */
  get truth(): Direction {
    this.#sum();
    const { pointingErrorDegrees: error } = this.#o.spec;
    const dec = this.#dec.tubeDegrees + error.north + this.#driftArcsec.north / 3600;
    const east = error.east + this.#driftArcsec.east / 3600;
    const cosDec = Math.max(0.05, Math.cos((this.#dec.tubeDegrees * Math.PI) / 180)); // east has no meaning at the pole
    const ha = this.#ha.tubeDegrees - east / cosDec;
    const trueSidereal = siderealHours(this.#o.site, this.#o.clock.nowMs());
    return {
      raHours: modulo(trueSidereal - ha / 15, 24),
      decDegrees: Math.max(-90, Math.min(90, dec)),
    };
  }

  get believedUtcMs(): number {
    return this.#o.clock.nowMs() + this.clockErrorSeconds * 1000;
  }

  /** By the mount's own site and clock. */
  siderealHours(): number {
    return siderealHours(this.believedSite, this.believedUtcMs);
  }

  /** Starts a slew. @returns why it will not, or undefined */
  slewTo(target: Direction, trackAfter: boolean): string | undefined {
    if (this.parked) return "the mount is parked";
    const refusal = whyOutside(this.#o.spec.limits, this.believedSite, {
      hourAngleDegrees: (this.siderealHours() - target.raHours) * 15,
      decDegrees: target.decDegrees,
    });
    if (refusal) {
      this.#o.note("limitRefused", refusal);
      return refusal;
    }
    this.#startSlew("slewing", target, trackAfter);
    return undefined;
  }

  park(): void {
    if (this.parked) return;
    this.#sum();
    this.tracking = false;
    const raHours = this.siderealHours() - this.parkAt.hourAngleDegrees / 15;
    this.#startSlew("parking", { raHours: modulo(raHours, 24), decDegrees: this.parkAt.decDegrees }, false);
  }

  unpark(): void {
    if (!this.parked) return;
    this.parked = false;
    this.#o.note("unparked");
  }

  setTracking(on: boolean, rate: TrackRate = this.rate): void {
    this.#sum();
    const was = this.tracking;
    this.rate = rate;
    this.tracking = on;
    if (this.#phase === "slewing") this.#trackAfterSlew = on;
    this.#watchLimits();
    if (was !== on) this.#o.note(on ? "trackingOn" : "trackingOff");
  }

  syncTo(actual: Direction): void {
    this.#sum();
    this.#sync.ha = wrapDegrees((this.siderealHours() - actual.raHours) * 15 - this.#ha.motorDegrees);
    this.#sync.dec = actual.decDegrees - this.#dec.motorDegrees;
    this.#o.note("synced");
  }

  /** Keeps turning at that rate on top of tracking until called with 0 [degrees/s on the axis; east, north positive]. */
  jog(axis: "east" | "north", degreesPerSecond: number): void {
    this.#sum();
    const was = this.jogging;
    this.#extra[axis === "east" ? "jogEast" : "jogNorth"] = degreesPerSecond;
    this.#watchLimits();
    if (this.jogging && !was) this.#o.note("jogStarted");
    if (!this.jogging && was) this.#o.note("jogEnded");
  }

  /** Turns at that rate for that long, then calls back. A new pulse on the axis replaces a running one. */
  pulse(axis: "east" | "north", degreesPerSecond: number, seconds: number, done: () => void): void {
    this.#sum();
    const part = axis === "east" ? "pulseEast" : "pulseNorth";
    this.#pulses[axis]?.cancel();
    this.#extra[part] = degreesPerSecond;
    const happen = () => {
      this.#extra[part] = 0;
      this.#pulseEnds[axis] = undefined;
    };
    this.#pulseEnds[axis] = { atMs: this.#o.clock.nowMs() + seconds * 1000, happen };
    this.#pulses[axis] = this.#o.clock.setTimer(seconds, () => {
      this.#sum();
      this.#finish(this.#pulseEnds[axis]);
      this.#pulses[axis] = undefined;
      done();
    });
  }

  /** Stops slew, parking, jogs and pulses; tracking goes on as it was. */
  stop(): void {
    this.#sum();
    for (const axis of ["east", "north"] as const) {
      this.#pulses[axis]?.cancel();
      this.#pulses[axis] = undefined;
      this.#pulseEnds[axis] = undefined;
    }
    const jogged = this.jogging;
    Object.assign(this.#extra, { jogEast: 0, jogNorth: 0, pulseEast: 0, pulseNorth: 0 });
    if (jogged) this.#o.note("jogEnded");
    if (this.#phase === "still") return;
    const wasParking = this.#phase === "parking";
    this.#endSlew();
    if (!wasParking) this.tracking = this.#trackAfterSlew;
    this.#watchLimits();
    this.#o.note(wasParking ? "parkStopped" : "slewStopped");
  }

  /** The world ends: no timer is left. */
  close(): void {
    for (const timer of [this.#slewTimer, this.#limitTimer, this.#pulses.east, this.#pulses.north])
      timer?.cancel();
  }

  #startSlew(phase: "slewing" | "parking", target: Direction, trackAfter: boolean): void {
    this.#sum();
    const overlapped = this.#phase !== "still";
    this.#endSlew();
    this.#limitTimer?.cancel();
    const { seconds, rates } = planSlew(this.believedAxes, target, {
      siderealHours: this.siderealHours(),
      hourAngleRate: trackAfter ? trackDegreesPerSecond(this.rate, this.customRate).ha : 0,
      degreesPerSecond: this.#o.spec.slewDegreesPerSecond,
    });
    this.#phase = phase;
    this.#slewTarget = target;
    this.#trackAfterSlew = trackAfter;
    this.tracking = false;
    this.#slewRate = rates;
    this.#slewEnds = { atMs: this.#o.clock.nowMs() + seconds * 1000, happen: () => this.#arrive() };
    this.#slewTimer = this.#o.clock.setTimer(seconds, () => this.#settle());
    this.#o.note(overlapped ? "slewOverlapped" : phase === "slewing" ? "slewStarted" : "parkStarted");
  }

  #arrive(): void {
    this.#slewEnds = undefined;
    this.#slewRate = { ha: 0, dec: 0 };
    this.#driftArcsec = { east: 0, north: 0 };
    this.tracking = this.#trackAfterSlew;
  }

  #settle(): void {
    this.#sum();
    this.#finish(this.#slewEnds);
    this.#slewTimer = this.#o.clock.setTimer(this.#o.spec.settleSeconds, () => {
      this.#sum();
      const parking = this.#phase === "parking";
      this.#endSlew();
      if (parking) this.parked = true;
      this.#watchLimits();
      this.#o.note(parking ? "parked" : "slewEnded");
    });
  }

  #endSlew(): void {
    this.#slewTimer?.cancel();
    this.#slewTimer = undefined;
    this.#slewEnds = undefined;
    this.#slewRate = { ha: 0, dec: 0 };
    this.#slewTarget = undefined;
    this.#phase = "still";
  }

  #rates(): AxisRates {
    const track =
      this.tracking && !this.#stalled ? trackDegreesPerSecond(this.rate, this.customRate) : { ha: 0, dec: 0 };
    const { jogEast, jogNorth, pulseEast, pulseNorth } = this.#extra;
    return {
      ha: this.#slewRate.ha + track.ha - jogEast - pulseEast, // east is against the hour angle
      dec: this.#slewRate.dec + track.dec + jogNorth + pulseNorth,
    };
  }

  /**
   * Brings everything up to now. A slew or a pulse ends at its own moment even if its timer comes late, as timers
   * of a clock that runs fast do: a millisecond of theirs would be arcminutes of a slew.
   */
  #sum(): void {
    const nowMs = this.#o.clock.nowMs();
    const ends = [this.#slewEnds, this.#pulseEnds.east, this.#pulseEnds.north];
    for (const end of ends.filter((one) => one !== undefined).sort((a, b) => a.atMs - b.atMs)) {
      if (end.atMs > nowMs) break;
      this.#sumUntil(end.atMs);
      end.happen();
    }
    this.#sumUntil(nowMs);
  }

  /** The timer of that end is here. One that counts whole milliseconds may be early: the rest of the way is gone too. */
  #finish(end: MotionEnd | undefined): void {
    if (!end) return;
    this.#sumUntil(end.atMs);
    end.happen();
  }

  #sumUntil(nowMs: number): void {
    const seconds = (nowMs - this.#summedMs) / 1000;
    if (seconds <= 0) return;
    this.#summedMs = nowMs;
    const rates = this.#rates();
    this.#ha.turn(rates.ha * seconds);
    const dec = this.#dec.motorDegrees + rates.dec * seconds;
    this.#dec.turn(Math.max(-90, Math.min(90, dec)) - this.#dec.motorDegrees);
    if (this.tracking && !this.#stalled) {
      this.#driftArcsec.east += this.#o.spec.driftArcsecPerSecond.east * seconds;
      this.#driftArcsec.north += this.#o.spec.driftArcsecPerSecond.north * seconds;
    }
  }

  /** Whether the tube stands outside the limits now; a parked one may. */
  whyOutsideNow(): string | undefined {
    return whyOutside(this.#o.spec.limits, this.believedSite, this.believedAxes);
  }

  /** Sets the timer for the moment at which the present motion leads out of the limits. */
  #watchLimits(): void {
    this.#limitTimer?.cancel();
    this.#limitTimer = undefined;
    if (this.#phase !== "still" || (!this.tracking && !this.jogging)) return;
    const seconds = this.jogging
      ? jogLookSeconds
      : secondsInside(this.#o.spec.limits, this.believedSite, this.believedAxes, this.#rates());
    if (seconds === undefined) return;
    const wasInside = this.whyOutsideNow() === undefined;
    this.#limitTimer = this.#o.clock.setTimer(seconds, () => {
      const outside = this.whyOutsideNow();
      if (outside === undefined || !wasInside) {
        this.#watchLimits();
        return;
      }
      this.stop();
      this.tracking = false;
      this.#o.note("limitReached", outside);
    });
  }
}
