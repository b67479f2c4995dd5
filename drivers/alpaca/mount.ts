import {
  DeviceLostError,
  MissingAbilityError,
  OutOfLimitsError,
  ReadbackError,
  RefusedError,
} from "../kit/errors.ts";
import { wrapHours } from "../kit/sidereal.ts";
import type { Equatorial, MountState, Site, TrackRate } from "../roles/mount.ts";
import { distanceDegrees } from "../roles/mount-sky.ts";
import { AscomError, NotImplementedError } from "./errors.ts";
import { ensureProperty, type KeptSetting, type Property } from "./kept-setting.ts";
import { driveRate, type MountFacts, readMountFacts } from "./mount-facts.ts";
import { Nudger } from "./mount-nudge.ts";
import {
  forMount,
  type MountReading,
  type MountTools,
  readMount,
  readRateOffsets,
  readSiteAndTime,
  readTrackRate,
} from "./mount-reading.ts";
import { mountSettings, type SettableMount, setRateOffsets, trackingRate } from "./mount-settings.ts";
import { goTo, type SlewBudget, untilStill } from "./mount-slew.ts";
import { AlpacaRole, type RoleContext } from "./role-device.ts";
import { flag } from "./values.ts";

export interface MountOptions {
  /** Slowest that the mount slews at, for deadlines [degrees/s]. Default 0.5. */
  readonly slewDegreesPerSecondMin?: number;
  /** How near a slew must end to count as arrived [arcmin]. Default 5. */
  readonly arrivalArcmin?: number;
}

/** Worst time for parking: half a turn at the slowest, with margin for homing [s]. */
const parkExtraSeconds = 120;
/** An arrival further off than this is worth a second, short slew [arcsec]. */
const refineArcsec = 60;
const tracking: Property<boolean> = { member: "tracking", parameter: "Tracking", schema: flag };

export class AlpacaMount extends AlpacaRole implements SettableMount {
  override readonly role = "mount";
  readonly #tools: MountTools;
  readonly #budget: SlewBudget;
  readonly #nudger: Nudger;
  #known: MountFacts | undefined;
  /** Set by us last; mounts fall back to sidereal when they restart, and some after a slew. */
  #rate: TrackRate | undefined;
  /** The protocol shows parking as slewing; only who sent it there knows. */
  #isParking = false;

  constructor(context: RoleContext, options: MountOptions = {}) {
    super(context);
    this.#tools = { device: context.device, clock: context.clock, facts: () => this.#facts };
    this.#budget = {
      degreesPerSecondMin: options.slewDegreesPerSecondMin ?? 0.5,
      toleranceArcsec: (options.arrivalArcmin ?? 5) * 60,
    };
    this.#nudger = new Nudger(this.#tools, this.#budget);
  }

  protected override async readFacts(signal: AbortSignal): Promise<void> {
    this.#known = await readMountFacts(this.device, signal);
  }

  /** The rate is set again; motion is not: what tracks is for the procedure to say. */
  protected override async setUpAgain(signal: AbortSignal): Promise<void> {
    if (this.#rate !== undefined) await this.#setRate(this.#rate, signal);
  }

  protected override ping(signal: AbortSignal): Promise<boolean> {
    return this.device.get("slewing", flag, signal);
  }

  get #facts(): MountFacts {
    if (!this.#known) throw new TypeError("the mount is not open");
    return this.#known;
  }

  get abilities() {
    const { canPark, canSync, trackingRates } = this.#facts;
    const solarRate = trackingRates.includes(driveRate.solar);
    return { park: canPark, sync: canSync, solarRate, nudge: this.#nudger.way };
  }

  state(signal: AbortSignal): Promise<MountState> {
    return this.recovering(async () => {
      const { pointing, slewing, pulsing, tracking, parked } = await readMount(this.#tools, signal);
      const motion = slewing ? (this.#isParking ? "parking" : "slewing") : pulsing ? "jogging" : "still";
      return { pointing, motion, tracking, trackRate: await readTrackRate(this.#tools, signal), parked };
    }, signal);
  }

  siteAndTime(signal: AbortSignal): Promise<{ site: Site | undefined; utcMs: number | undefined }> {
    return this.recovering(() => readSiteAndTime(this.#tools, signal), signal);
  }

  async ensureUnparked(signal: AbortSignal): Promise<void> {
    await this.recovering(() => this.#bringParkTo(false, signal), signal);
  }

  async ensureParked(signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    if (!this.#facts.canPark) throw new MissingAbilityError(this.name, "this mount cannot park");
    await this.recovering(() => this.#bringParkTo(true, signal), signal);
    this.#rate = undefined;
  }

  /** Parking that is under way is left to end: stopped in its middle the mount has no known place. */
  async #bringParkTo(parked: boolean, signal: AbortSignal): Promise<void> {
    const withinSeconds = this.#parkSeconds;
    if (this.#isParking) await this.#untilNotSlewing("parking", withinSeconds, signal);
    const now = await readMount(this.#tools, signal);
    if (now.parked === parked || (now.parked === undefined && !parked)) return;
    if (parked && now.slewing) await this.#stop(signal);
    if (!parked && !this.#facts.canUnpark) {
      throw new MissingAbilityError(this.name, "this mount is parked and cannot be unparked from here");
    }
    this.#isParking = parked;
    try {
      await this.device.put(parked ? "park" : "unpark", {}, signal, { withinSeconds });
      await this.until(
        parked ? "parking" : "unparking",
        { withinSeconds, precisionSeconds: 0.5 },
        async (abort) => {
          const seen = await readMount(this.#tools, abort);
          return seen.parked === parked && !seen.slewing ? true : undefined;
        },
        signal,
      );
    } finally {
      // Given up or aborted, it may still be on its way; then the next command waits for it.
      if (!signal.aborted) this.#isParking = false;
    }
  }

  get #parkSeconds(): number {
    return parkExtraSeconds + 180 / this.#budget.degreesPerSecondMin;
  }

  async #untilNotSlewing(what: string, withinSeconds: number, signal: AbortSignal): Promise<MountReading> {
    const seen = await this.until(
      what,
      { withinSeconds, precisionSeconds: 0.3 },
      async (abort) => {
        const now = await readMount(this.#tools, abort);
        return now.slewing || now.pulsing ? undefined : now;
      },
      signal,
    );
    this.#isParking = false;
    return seen;
  }

  /** @throws RefusedError while parked or parking, before anything is sent */
  async #checkMayMove(what: string, signal: AbortSignal): Promise<MountReading> {
    const now = await this.recovering(() => readMount(this.#tools, signal), signal);
    if (now.slewing && this.#isParking) {
      throw new RefusedError(this.name, `no ${what} while the mount is parking`);
    }
    if (now.parked === true) throw new RefusedError(this.name, `no ${what} while the mount is parked`);
    return now;
  }

  async ensureTracking(rate: TrackRate, signal: AbortSignal): Promise<void> {
    await this.#checkMayMove("tracking", signal);
    await this.recovering(async () => {
      await this.#setRate(rate, signal);
      await this.switchTracking(true, signal);
      // Some mounts fall back to sidereal when tracking starts.
      if ((await readTrackRate(this.#tools, signal)) !== rate) await this.#setRate(rate, signal);
      const reads = await readTrackRate(this.#tools, signal);
      const mayNotTell = reads === undefined && rate === "sidereal";
      if (reads !== rate && !mayNotTell) throw new ReadbackError(this.name, "tracking rate", rate, reads);
    }, signal);
    this.#rate = rate;
  }

  /** @throws MissingAbilityError, ReadbackError */
  async #setRate(rate: TrackRate, signal: AbortSignal): Promise<void> {
    const { trackingRates } = this.#facts;
    const wanted = rate === "custom" ? undefined : driveRate[rate];
    if (wanted === undefined || !trackingRates.includes(wanted)) {
      throw new MissingAbilityError(this.name, `this mount cannot track at ${rate} rate`);
    }
    await this.#clearOffsets(signal);
    try {
      await ensureProperty(this.device, trackingRate, wanted, signal);
    } catch (error) {
      // A mount with one rate need not let it be read or set.
      if (!(error instanceof NotImplementedError) || rate !== "sidereal") throw error;
    }
  }

  /** Offsets that somebody left would bend every rate; where they cannot be written they are not in force. */
  async #clearOffsets(signal: AbortSignal): Promise<void> {
    const { ra, dec } = await readRateOffsets(this.#tools, signal);
    if ((ra ?? 0) === 0 && (dec ?? 0) === 0) return;
    try {
      await setRateOffsets(this.#tools, [0, 0], signal);
    } catch (error) {
      if (!(error instanceof AscomError)) throw error;
      this.log.warn(
        { device: this.name, ra, dec, error: String(error) },
        "rate offsets could not be cleared",
      );
    }
  }

  async ensureTrackingOff(signal: AbortSignal): Promise<void> {
    await this.recovering(() => this.switchTracking(false, signal), signal);
  }

  async switchTracking(on: boolean, signal: AbortSignal): Promise<void> {
    if ((await readMount(this.#tools, signal)).tracking === on) return;
    if (!this.#facts.canSetTracking) {
      throw new MissingAbilityError(
        this.name,
        `this mount does not let tracking be switched ${on ? "on" : "off"}`,
      );
    }
    await ensureProperty(this.device, tracking, on, signal);
  }

  async slewTo(target: Equatorial, signal: AbortSignal): Promise<void> {
    const { raHours, decDegrees } = target;
    if (!(Number.isFinite(raHours) && Math.abs(decDegrees) <= 90)) {
      throw new OutOfLimitsError(this.name, "slew target", `${raHours} h, ${decDegrees} degrees`, "the sky");
    }
    const before = await this.#checkMayMove("slew", signal);
    const rateBefore = await readTrackRate(this.#tools, signal);
    if (before.slewing || before.pulsing) await this.#stop(signal);
    const place = { raHours: wrapHours(raHours), decDegrees };
    await this.stoppedIfFailed(
      async () => {
        await this.switchTracking(true, signal); // equatorial slews are refused without
        const there = await goTo(this.#tools, place, this.#budget, signal);
        const offArcsec = distanceDegrees(there.pointing, place) * 3600;
        if (offArcsec > refineArcsec) await this.#refine(place, offArcsec, signal);
        await untilStill(this.#tools, signal);
      },
      (own) => this.#stop(own, { tracking: true }),
      signal,
    );
    await this.switchTracking(true, signal);
    if (rateBefore !== undefined && rateBefore !== "custom" && this.#facts.trackingRates.length > 1) {
      await ensureProperty(this.device, trackingRate, driveRate[rateBefore], signal);
    }
  }

  /** A long slew may end minutes of arc off; a second, short one ends nearer. Not getting nearer is no failure. */
  async #refine(place: Equatorial, offArcsec: number, signal: AbortSignal): Promise<void> {
    try {
      await goTo(this.#tools, place, { ...this.#budget, toleranceArcsec: offArcsec * 0.3 }, signal);
    } catch (error) {
      if (!(error instanceof ReadbackError || error instanceof RefusedError)) throw error;
    }
    const { pointing } = await readMount(this.#tools, signal);
    if (distanceDegrees(pointing, place) * 3600 > this.#budget.toleranceArcsec) {
      throw new ReadbackError(this.name, "pointing", "within tolerance of the target", "outside it");
    }
  }

  async syncTo(actual: Equatorial, signal: AbortSignal): Promise<void> {
    await this.#checkMayMove("sync", signal);
    if (!this.#facts.canSync) throw new MissingAbilityError(this.name, "this mount cannot sync");
    const { raHours, decDegrees } = forMount(this.#tools, actual);
    await this.device.put("synctocoordinates", { RightAscension: raHours, Declination: decDegrees }, signal);
    const { pointing } = await untilStill(this.#tools, signal);
    const offArcsec = distanceDegrees(pointing, actual) * 3600;
    if (offArcsec > 60) {
      throw new ReadbackError(
        this.name,
        "pointing after a sync",
        "the place given",
        `${offArcsec.toFixed(0)} arcsec off`,
      );
    }
  }

  async nudge(by: { eastArcsec: number; northArcsec: number }, signal: AbortSignal): Promise<void> {
    const { eastArcsec, northArcsec } = by;
    if (!Number.isFinite(eastArcsec) || !Number.isFinite(northArcsec)) {
      throw new OutOfLimitsError(this.name, "nudge", `${eastArcsec}, ${northArcsec}`, "finite arcseconds");
    }
    await this.#checkMayMove("nudge", signal);
    await this.stoppedIfFailed(
      () => this.#nudger.nudge(by, signal),
      (own) => this.#stop(own, { tracking: true }),
      signal,
    );
  }

  async ensureStopped(signal: AbortSignal): Promise<void> {
    await this.recovering(() => this.#stop(signal), signal);
  }

  /**
   * @param known tracking as it was before a motion of our own: then the stop goes out at once, because a mount that
   *   moves must not wait for a reading that hangs
   */
  async #stop(signal: AbortSignal, known?: { tracking: boolean }): Promise<void> {
    if (this.#isParking) {
      await this.#untilNotSlewing("parking", this.#parkSeconds, signal);
      return;
    }
    if (known) await this.#abortSlew(signal);
    const before = await readMount(this.#tools, signal);
    if (!known && !before.slewing && !before.pulsing) return;
    if (!known && before.slewing) await this.#abortSlew(signal);
    const withinSeconds = 60 + 180 / this.#budget.degreesPerSecondMin;
    await this.#untilNotSlewing("the mount's rest", withinSeconds, signal);
    const rests = await untilStill(this.#tools, signal);
    // The standard has tracking as it was before the slew; not every mount does.
    const wanted = (known ?? before).tracking;
    if (wanted !== rests.tracking && rests.parked !== true && this.#facts.canSetTracking) {
      await this.switchTracking(wanted, signal);
    }
  }

  async #abortSlew(signal: AbortSignal): Promise<void> {
    try {
      await this.device.put("abortslew", {}, signal, { urgent: true });
    } catch (error) {
      // Without the command the motion must end by itself; a link that fails shows in the next reading.
      const mayWait = error instanceof NotImplementedError || error instanceof AscomError;
      if (!mayWait && !(error instanceof DeviceLostError)) throw error;
    }
  }

  protected override keptSettings(): readonly KeptSetting[] {
    return mountSettings(this, this.#tools);
  }

  override describe(): Readonly<Record<string, string>> {
    const { park, sync, solarRate, nudge } = this.abilities;
    const { canSlewAsync, canSlewSync, hasSite } = this.#facts;
    const yes = (ability: boolean) => (ability ? "yes" : "no");
    return {
      slew: canSlewAsync ? "yes" : canSlewSync ? "yes, answering only at the end" : "no",
      park: yes(park),
      sync: yes(sync),
      solarRate: yes(solarRate),
      nudge: `by ${nudge}`,
      site: yes(hasSite),
    };
  }
}
