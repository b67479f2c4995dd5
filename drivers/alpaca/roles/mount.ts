import { MissingAbilityError, OutOfLimitsError, ReadbackError, RefusedError } from "../../kit/errors.ts";
import { wrapHours } from "../../kit/sidereal.ts";
import type { Setting } from "../../roles/device.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { Equatorial, MountOptions, MountState, Site, TrackRate } from "../../roles/mount.ts";
import { distanceDegrees } from "../../roles/mount-sky.ts";
import { AlpacaRole, type RoleContext } from "../session/alpaca-role.ts";
import { ensureProperty } from "../session/kept-setting.ts";
import { flag } from "../wire/values.ts";
import { driveRate, type MountFacts, readMountFacts } from "./mount-facts.ts";
import { Nudger } from "./mount-nudge.ts";
import { setTracking, setTrackRate, trackAt } from "./mount-rate.ts";
import {
  type MountReading,
  type MountTools,
  readMount,
  readSiteAndTime,
  readTrackRate,
  toMountEquinox,
} from "./mount-reading.ts";
import { MountRest } from "./mount-rest.ts";
import { mountSettings, type SettableMount, trackingRate } from "./mount-settings.ts";
import { type SlewBudget, slewAndWait, waitUntilStill } from "./mount-slew.ts";

/** An arrival further off than this is worth a second, short slew [arcsec]. */
const refineArcsec = 60;

export class AlpacaMount extends AlpacaRole implements SettableMount {
  override readonly role = "mount";
  readonly #tools: MountTools;
  readonly #budget: SlewBudget;
  readonly #rest: MountRest;
  readonly #nudger: Nudger;
  #known: MountFacts | undefined;
  /** Set by us last; mounts fall back to sidereal when they restart, and some after a slew. */
  #rate: TrackRate | undefined;

  constructor(context: RoleContext, options: MountOptions = {}) {
    super(context);
    this.#tools = { device: context.device, clock: context.clock, facts: () => this.#facts };
    this.#budget = {
      degreesPerSecondMin: options.slewDegreesPerSecondMin ?? 0.5,
      toleranceArcsec: (options.arrivalArcmin ?? 5) * 60,
    };
    this.#rest = new MountRest(this.#tools, this.#budget);
    this.#nudger = new Nudger(this.#tools, this.#budget);
  }

  protected override async readFacts(signal: AbortSignal): Promise<void> {
    this.#known = await readMountFacts(this.device, signal);
  }

  /** The rate is set again; motion is not: what tracks is for the procedure to say. */
  protected override async setUp(signal: AbortSignal): Promise<void> {
    if (this.#rate !== undefined) await setTrackRate(this.#tools, this.log, this.#rate, signal);
  }

  protected override ping(signal: AbortSignal): Promise<boolean> {
    return this.device.probe("slewing", flag, signal);
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
      const seen = await readMount(this.#tools, signal);
      return {
        pointing: seen.pointing,
        motion: this.#rest.motionOf(seen),
        tracking: seen.tracking,
        trackRate: await readTrackRate(this.#tools, signal),
        parked: seen.parked,
      };
    }, signal);
  }

  siteAndTime(signal: AbortSignal): Promise<{ site: Site | undefined; utcMs: number | undefined }> {
    return this.recovering(() => readSiteAndTime(this.#tools, signal), signal);
  }

  async ensureUnparked(signal: AbortSignal): Promise<void> {
    await this.recovering(() => this.#rest.bringParkTo(false, signal), signal);
  }

  async ensureParked(signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    if (!this.#facts.canPark) throw new MissingAbilityError(this.name, "this mount cannot park");
    await this.recovering(() => this.#rest.bringParkTo(true, signal), signal);
    this.#rate = undefined;
  }

  /** @throws RefusedError while parked or parking, before anything is sent */
  async #checkMayMove(what: string, signal: AbortSignal): Promise<MountReading> {
    const now = await this.recovering(() => readMount(this.#tools, signal), signal);
    this.#rest.checkMayMove(what, now);
    return now;
  }

  async ensureTracking(rate: TrackRate, signal: AbortSignal): Promise<void> {
    await this.#checkMayMove("tracking", signal);
    await this.recovering(() => trackAt(this.#tools, this.log, rate, signal), signal);
    this.#rate = rate;
  }

  async ensureTrackingOff(signal: AbortSignal): Promise<void> {
    await this.recovering(() => this.switchTracking(false, signal), signal);
  }

  switchTracking(on: boolean, signal: AbortSignal): Promise<void> {
    return setTracking(this.#tools, on, signal);
  }

  async slewTo(target: Equatorial, signal: AbortSignal): Promise<void> {
    const { raHours, decDegrees } = target;
    if (!(Number.isFinite(raHours) && Math.abs(decDegrees) <= 90)) {
      throw new OutOfLimitsError(this.name, "slew target", `${raHours} h, ${decDegrees} degrees`, "the sky");
    }
    const before = await this.#checkMayMove("slew", signal);
    const rateBefore = await readTrackRate(this.#tools, signal);
    if (before.slewing || before.pulsing) await this.#rest.stop(signal);
    const place = { raHours: wrapHours(raHours), decDegrees };
    await this.stoppedIfFailed(
      async () => {
        await this.switchTracking(true, signal); // equatorial slews are refused without
        const there = await slewAndWait(this.#tools, place, this.#budget, signal);
        const offArcsec = distanceDegrees(there.pointing, place) * 3600;
        if (offArcsec > refineArcsec) await this.#refine(place, offArcsec, signal);
        await waitUntilStill(this.#tools, signal);
      },
      (own) => this.#rest.stop(own, { tracking: true }),
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
      await slewAndWait(this.#tools, place, { ...this.#budget, toleranceArcsec: offArcsec * 0.3 }, signal);
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
    const { raHours, decDegrees } = toMountEquinox(this.#tools, actual);
    await this.device.put("synctocoordinates", { RightAscension: raHours, Declination: decDegrees }, signal);
    const { pointing } = await waitUntilStill(this.#tools, signal);
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
      (own) => this.#rest.stop(own, { tracking: true }),
      signal,
    );
  }

  async ensureStopped(signal: AbortSignal): Promise<void> {
    await this.recovering(() => this.#rest.stop(signal), signal);
  }

  /** What is put back is no longer ours to set anew after a restart. */
  override restoreSetting(setting: Setting, signal: AbortSignal): Promise<void> {
    this.#rate = undefined;
    return super.restoreSetting(setting, signal);
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
