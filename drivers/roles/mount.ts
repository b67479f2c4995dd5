import type { Device } from "./device.ts";

/** Equatorial coordinates of date (apparent place, JNow). */
export interface Equatorial {
  readonly raHours: number;
  readonly decDegrees: number;
}

export type TrackRate = "sidereal" | "solar" | "lunar" | "custom";

export interface MountState {
  readonly pointing: Equatorial;
  readonly motion: "still" | "slewing" | "parking" | "jogging";
  readonly tracking: boolean;
  readonly trackRate: TrackRate | undefined;
  /** `undefined` when the mount itself does not know. */
  readonly parked: boolean | undefined;
}

export interface Site {
  readonly latitudeDegrees: number;
  /** East positive, -180 to 180. */
  readonly longitudeDegrees: number;
  readonly elevationMetres: number;
}

/** `undefined` parts are not offered. */
export interface SiteAndTime {
  /** Also `undefined` for 0, 0: what a driver says that was never told. */
  readonly site: Site | undefined;
  /** `undefined` for a time that stands still. */
  readonly utcMs: number | undefined;
  /** Local sidereal time. */
  readonly siderealHours: number | undefined;
}

/** Points the telescope. Slews are equatorial, of date. */
export interface Mount extends Device {
  readonly role: "mount";
  readonly abilities: {
    readonly park: boolean;
    readonly sync: boolean;
    readonly solarRate: boolean;
    readonly nudge: "pulse" | "motion" | "slew";
  };
  state(signal: AbortSignal): Promise<MountState>;
  /** What the mount itself believes in, at about the time of the answer. */
  siteAndTime(signal: AbortSignal): Promise<SiteAndTime>;
  ensureUnparked(signal: AbortSignal): Promise<void>;
  ensureParked(signal: AbortSignal): Promise<void>;
  /** Tracks at that rate and proves by reading back that it took. @throws MissingAbilityError, ReadbackError */
  ensureTracking(rate: TrackRate, signal: AbortSignal): Promise<void>;
  ensureTrackingOff(signal: AbortSignal): Promise<void>;
  /** Arrived means: within the mount's tolerance of the target, and still. Abort stops the motion and waits for it. */
  slewTo(target: Equatorial, signal: AbortSignal): Promise<void>;
  /** Tells the mount that it points at `actual`. Changes its model for good: no procedure of ours does it unasked. */
  syncTo(actual: Equatorial, signal: AbortSignal): Promise<void>;
  /**
   * Moves the line of sight by a small amount on the sky: east and north positive, true arcseconds
   * (the adapter divides by cos δ where its command needs it). Ends when the mount is still again.
   */
  nudge(by: { eastArcsec: number; northArcsec: number }, signal: AbortSignal): Promise<void>;
  /** No slew, no jog, no pulse under way; tracking stays as it is. */
  ensureStopped(signal: AbortSignal): Promise<void>;
  /** Ends every motion, as `Cover.sendClose` closes: at once, unasked. Motions and tracking asked for before are given up. */
  sendStop(signal: AbortSignal): Promise<void>;
  /** Switches tracking off in the same way. Harmful only to a slew of our own: it is given up too. */
  sendTrackingOff(signal: AbortSignal): Promise<void>;
}

/** What a rig file may say of a mount where the driver does not. */
export interface MountOptions {
  /** Slowest that the mount slews at, for deadlines [degrees/s]. Default 0.5. */
  readonly slewDegreesPerSecondMin?: number;
  /** How near a slew must end to count as arrived [arcmin]. Default 5. */
  readonly arrivalArcmin?: number;
}

export function describeAbilities(
  { park, sync, solarRate, nudge }: Mount["abilities"],
  hasSite: boolean,
): Record<string, string> {
  const yes = (ability: boolean) => (ability ? "yes" : "no");
  return {
    park: yes(park),
    sync: yes(sync),
    solarRate: yes(solarRate),
    nudge: `by ${nudge}`,
    site: yes(hasSite),
  };
}
