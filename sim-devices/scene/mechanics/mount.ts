import type { Clock, ClockTimer } from "../../../drivers/kit/clock.ts";
import type { SceneSpec } from "../spec/scene-spec.ts";
import { type Direction, modulo, type Site, siderealHours, wrapDegrees } from "../sun/sun-place.ts";
import { type AxisAngles, secondsInside, whyOutside } from "./mount-limits.ts";
import { type MotionEnd, MountMotors } from "./mount-motors.ts";
import { type TrackRate, trackDegreesPerSecond } from "./mount-rates.ts";
import { planSlew } from "./mount-slew.ts";

export type PierSide = "east" | "west";
export type MountPhase = "still" | "slewing" | "parking";
export type MountNews =
  | "slewStarted"
  | "flipStarted"
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

/** How often a jog is looked at for limits [s]. */
const jogLookSeconds = 0.25;

export interface MountOptions {
  readonly clock: Clock;
  readonly spec: SceneSpec["mount"];
  readonly site: Site;
  readonly parkAt: AxisAngles;
  readonly note: (what: MountNews, detail?: string) => void;
}

/**
 * An equatorial mount: what it has been told, what it believes, and where its tube truly points. The two differ by
 * pointing error, play and drift, and by the site and the time that it believes in.
 */
export class MountMechanics {
  readonly #o: MountOptions;
  readonly #motors: MountMotors;
  #phase: MountPhase = "still";
  #slewTarget: Direction | undefined;
  #slewEnd: MotionEnd | undefined;
  #slewTimer: ClockTimer | undefined;
  #limitTimer: ClockTimer | undefined;
  readonly #pulses = new Map<"east" | "north", { timer: ClockTimer; end: MotionEnd }>();
  #sync = { ha: 0, dec: 0 };
  #trackAfterSlew = false;
  /** Of a German mount: on which side of the pier the tube is, as of its last slew. */
  #pierSide: PierSide | undefined;
  #tracking: boolean;
  #rate: TrackRate = "sidereal";
  #stalled = false;
  /** Fault: slews arrive and never report their end, until they are stopped. */
  #neverSettles = false;
  #hasArrived = false;
  #jammed = false;
  /** The site and clock error that the mount believes in; the truth about both is the scene's. */
  believedSite: Site;
  clockErrorSeconds = 0;
  /** Faults: commands to track are taken and do nothing; slews end so far south of their target. */
  refusesTracking = false;
  slewShortDegrees = 0;
  parked: boolean;
  /** Used by the custom rate: hour angle and declination [arcsec/s]. */
  customRate = { ha: 15.041067, dec: 0 };
  parkAt: AxisAngles;

  constructor(options: MountOptions) {
    this.#o = options;
    this.believedSite = options.site;
    this.parkAt = { ...options.parkAt };
    const { spec } = options;
    this.parked = spec.startsParked;
    const { hourAngleHours, decDegrees } = spec.startPointing;
    const start = spec.startsParked ? options.parkAt : { hourAngleDegrees: hourAngleHours * 15, decDegrees };
    this.#motors = new MountMotors(options.clock, spec, start);
    this.#tracking = spec.startsTracking && !spec.startsParked;
    this.#turnWithSky();
    this.#watchLimits();
  }

  get hasSolarRate(): boolean {
    return this.#o.spec.hasSolarRate ?? true;
  }

  get phase(): MountPhase {
    return this.#phase;
  }
  /** As it says itself. */
  get tracking(): boolean {
    this.#motors.sum();
    return this.#tracking;
  }
  get rate(): TrackRate {
    return this.#rate;
  }
  get motorsStalled(): boolean {
    return this.#stalled || this.#jammed;
  }
  get jogging(): boolean {
    return this.#motors.jogging;
  }
  get pulsing(): boolean {
    return this.#pulses.size > 0;
  }
  /** Where a slew under way will end. */
  get slewTarget(): Direction | undefined {
    return this.#slewTarget;
  }

  /** Motor angles as the mount's own electronics count them, model included. */
  get believedAxes(): AxisAngles {
    const { hourAngleDegrees, decDegrees } = this.#motors.angles;
    return {
      hourAngleDegrees: wrapDegrees(hourAngleDegrees + this.#sync.ha),
      decDegrees: decDegrees + this.#sync.dec,
    };
  }

  /** Of date, as the mount reports it. */
  get believed(): Direction {
    const { hourAngleDegrees, decDegrees } = this.believedAxes;
    return { raHours: modulo(this.siderealHours() - hourAngleDegrees / 15, 24), decDegrees };
  }

  /** Where the optical axis truly points, of date. */
  get truth(): Direction {
    const { pointingErrorDegrees: error } = this.#o.spec;
    const { hourAngleDegrees, decDegrees, driftArcsec } = this.#motors.tube;
    const dec = decDegrees + error.north + driftArcsec.north / 3600;
    const east = error.east + driftArcsec.east / 3600;
    const cosDec = Math.max(0.05, Math.cos((decDegrees * Math.PI) / 180)); // east has no meaning at the pole
    const ha = hourAngleDegrees - east / cosDec;
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

  /** From now on it is a German mount: a slew to the other side of the meridian carries the tube round the pier. */
  makeGerman(): void {
    this.#pierSide = this.sideAt(this.believed);
  }

  get pierSide(): PierSide | undefined {
    return this.#pierSide;
  }

  /** Where the tube of a German mount ends up that is sent there: east of the pier when it looks west. */
  sideAt({ raHours }: Direction): PierSide {
    return wrapDegrees((this.siderealHours() - raHours) * 15) < 0 ? "west" : "east";
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
    const raHours = this.siderealHours() - this.parkAt.hourAngleDegrees / 15;
    this.#startSlew("parking", { raHours: modulo(raHours, 24), decDegrees: this.parkAt.decDegrees }, false);
  }

  unpark(): void {
    if (!this.parked) return;
    this.parked = false;
    this.#o.note("unparked");
  }

  setTracking(on: boolean, rate: TrackRate = this.#rate): void {
    if (on && !this.tracking && this.refusesTracking) return;
    const was = this.tracking;
    this.#rate = rate;
    this.#tracking = on;
    if (this.#phase === "slewing") this.#trackAfterSlew = on;
    this.#turnWithSky();
    this.#watchLimits();
    if (was !== on) this.#o.note(on ? "trackingOn" : "trackingOff");
  }

  /** Fault: says that it tracks, and stands still. */
  stall(on: boolean): void {
    this.#stalled = on;
    this.#turnWithSky();
    this.#watchLimits();
  }

  /** Fault: slews arrive, and never end by its own account. */
  neverSettle(on: boolean): void {
    this.#neverSettles = on;
    if (!on && this.#hasArrived) this.#settled();
  }

  /** Fault: its motors have no power. Slews and parking begin and lead nowhere until it is back, and it does not track. */
  jam(on: boolean): void {
    this.#jammed = on;
    this.#motors.hold(on);
    this.#turnWithSky();
    this.#watchLimits();
    const { phase, slewTarget } = this;
    if (!on && phase !== "still" && slewTarget) this.#startSlew(phase, slewTarget, this.#trackAfterSlew);
  }

  /** Fault: its count of the hour angle jumps, and with it all that it reports; the tube stays where it is. */
  shiftCount(hourAngleDegrees: number): void {
    this.#sync.ha = wrapDegrees(this.#sync.ha + hourAngleDegrees);
  }

  syncTo(actual: Direction): void {
    const { hourAngleDegrees, decDegrees } = this.#motors.angles;
    this.#sync.ha = wrapDegrees((this.siderealHours() - actual.raHours) * 15 - hourAngleDegrees);
    this.#sync.dec = actual.decDegrees - decDegrees;
    this.#o.note("synced");
  }

  /** Keeps turning at that rate on top of tracking until called with 0 [degrees/s on the axis; east, north positive]. */
  jog(axis: "east" | "north", degreesPerSecond: number): void {
    const was = this.jogging;
    this.#motors.jog(axis, degreesPerSecond);
    this.#watchLimits();
    if (this.jogging && !was) this.#o.note("jogStarted");
    if (!this.jogging && was) this.#o.note("jogEnded");
  }

  /** Turns at that rate for that long, then calls back. A new pulse on the axis replaces a running one. */
  pulse(axis: "east" | "north", degreesPerSecond: number, seconds: number, done: () => void): void {
    this.#endPulse(axis);
    this.#motors.pulse(axis, degreesPerSecond);
    const end = this.#motors.endAfter(seconds, () => this.#motors.pulse(axis, 0));
    const timer = this.#o.clock.setTimer(seconds, () => {
      this.#motors.finish(end);
      this.#pulses.delete(axis);
      done();
    });
    this.#pulses.set(axis, { timer, end });
  }

  /** Stops slew, parking, jogs and pulses; tracking goes on as it was. */
  stop(): void {
    const jogged = this.jogging;
    for (const axis of ["east", "north"] as const) {
      this.#endPulse(axis);
      this.#motors.jog(axis, 0);
    }
    if (jogged) this.#o.note("jogEnded");
    if (this.#phase === "still") return;
    const wasParking = this.#phase === "parking";
    this.#endSlew();
    if (!wasParking) this.#tracking = this.#trackAfterSlew;
    this.#turnWithSky();
    this.#watchLimits();
    this.#o.note(wasParking ? "parkStopped" : "slewStopped");
  }

  /** The world ends: no timer is left. */
  close(): void {
    for (const { timer } of this.#pulses.values()) timer.cancel();
    this.#slewTimer?.cancel();
    this.#limitTimer?.cancel();
  }

  #startSlew(phase: "slewing" | "parking", target: Direction, trackAfter: boolean): void {
    const overlapped = this.#phase !== "still";
    this.#endSlew();
    this.#limitTimer?.cancel();
    const decDegrees = target.decDegrees - (phase === "slewing" ? this.slewShortDegrees : 0);
    const { slewDegreesPerSecond } = this.#o.spec;
    const side = this.#pierSide && this.sideAt(target);
    const flips = side !== this.#pierSide;
    this.#pierSide = side;
    const plan = {
      siderealHours: this.siderealHours(),
      hourAngleRate: trackAfter ? trackDegreesPerSecond(this.#rate, this.customRate).ha : 0,
      degreesPerSecond: slewDegreesPerSecond,
      secondsLeast: flips ? 180 / slewDegreesPerSecond : 0,
    };
    const { seconds, rates } = planSlew(this.believedAxes, { ...target, decDegrees }, plan);
    if (flips) this.#o.note("flipStarted");
    this.#phase = phase;
    this.#slewTarget = target;
    this.#trackAfterSlew = trackAfter && !this.refusesTracking;
    this.#tracking = false;
    this.#turnWithSky();
    this.#motors.slew(rates);
    if (this.#jammed) {
      this.#o.note(overlapped ? "slewOverlapped" : phase === "slewing" ? "slewStarted" : "parkStarted");
      return;
    }
    const end = this.#motors.endAfter(seconds, () => this.#arrive());
    this.#slewEnd = end;
    this.#slewTimer = this.#o.clock.setTimer(seconds, () => {
      this.#motors.finish(end);
      this.#hasArrived = this.#neverSettles;
      if (this.#neverSettles) return;
      this.#slewTimer = this.#o.clock.setTimer(this.#o.spec.settleSeconds, () => this.#settled());
    });
    this.#o.note(overlapped ? "slewOverlapped" : phase === "slewing" ? "slewStarted" : "parkStarted");
  }

  #arrive(): void {
    this.#motors.slew({ ha: 0, dec: 0 });
    this.#motors.forgetDrift();
    this.#tracking = this.#trackAfterSlew;
    this.#turnWithSky();
  }

  #settled(): void {
    const parking = this.#phase === "parking";
    this.#endSlew();
    if (parking) this.parked = true;
    this.#watchLimits();
    this.#o.note(parking ? "parked" : "slewEnded");
  }

  #endSlew(): void {
    this.#slewTimer?.cancel();
    this.#slewTimer = undefined;
    this.#motors.sum();
    this.#motors.callOff(this.#slewEnd);
    this.#hasArrived = false;
    this.#motors.slew({ ha: 0, dec: 0 });
    this.#slewTarget = undefined;
    this.#phase = "still";
  }

  #endPulse(axis: "east" | "north"): void {
    const pulse = this.#pulses.get(axis);
    this.#pulses.delete(axis);
    pulse?.timer.cancel();
    this.#motors.callOff(pulse?.end);
    this.#motors.pulse(axis, 0);
  }

  #turnWithSky(): void {
    const turns = this.#tracking && !this.motorsStalled;
    this.#motors.track(turns ? trackDegreesPerSecond(this.#rate, this.customRate) : undefined);
  }

  /** Whether the tube stands outside the limits now; a parked one may. */
  whyOutsideNow(): string | undefined {
    return whyOutside(this.#o.spec.limits, this.believedSite, this.believedAxes);
  }

  /** Sets the timer for the moment at which the present motion leads out of the limits. */
  #watchLimits(): void {
    this.#limitTimer?.cancel();
    this.#limitTimer = undefined;
    if (this.#phase !== "still" || (!this.#tracking && !this.jogging)) return;
    const seconds = this.jogging
      ? jogLookSeconds
      : secondsInside(this.#o.spec.limits, this.believedSite, this.believedAxes, this.#motors.rates);
    if (seconds === undefined) return;
    const wasInside = this.whyOutsideNow() === undefined;
    this.#limitTimer = this.#o.clock.setTimer(seconds, () => {
      const outside = this.whyOutsideNow();
      if (outside === undefined || !wasInside) {
        this.#watchLimits();
        return;
      }
      this.stop();
      this.#tracking = false;
      this.#turnWithSky();
      this.#o.note("limitReached", outside);
    });
  }
}
