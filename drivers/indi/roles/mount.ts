import { MissingAbilityError, OutOfLimitsError, ReadbackError, RefusedError } from "../../kit/errors.ts";
import { wrapHours } from "../../kit/sidereal.ts";
import type { Setting } from "../../roles/device.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { Equatorial, Mount, MountOptions, MountState, Site, TrackRate } from "../../roles/mount.ts";
import { distanceDegrees } from "../../roles/mount-sky.ts";
import { IndiRole, type RoleContext } from "../session/indi-role.ts";
import { switchesOn, switchIn } from "../wire/property.ts";
import { endJog } from "./mount-jog.ts";
import { Nudger } from "./mount-nudge.ts";
import { type ParkBudget, setParked, waitForParking } from "./mount-park.ts";
import {
  eod,
  isParking,
  isTracking,
  motionAxes,
  motionOf,
  parkedOf,
  pointingOf,
  pulseAxes,
  trackRateOf,
} from "./mount-reading.ts";
import { mountSettings } from "./mount-settings.ts";
import { readSiteAndTime } from "./mount-site.ts";
import { type MountTools, type SlewBudget, slewAndWait, waitUntilStill } from "./mount-slew.ts";
import { syncMount } from "./mount-sync.ts";
import { setTracking, setTrackRate } from "./mount-track.ts";

/** Worst time for parking: half a turn at the slowest, with margin for homing [s]. */
const parkExtraSeconds = 120;
/** An arrival further off than this is worth a second, short goto [arcsec]. */
const refineArcsec = 60;

export class IndiMount extends IndiRole implements Mount {
  override readonly role = "mount";
  protected override readonly mainProperty = eod;
  protected override readonly requiredProperties = [eod];
  readonly #tools: MountTools;
  readonly #budget: SlewBudget;
  readonly #nudger: Nudger;
  /** Set by us last; a driver that restarts falls back to sidereal. */
  #rate: TrackRate | undefined;
  /** Where the last slew ended. */
  #restedAt: Equatorial | undefined;

  constructor(context: RoleContext, options: MountOptions = {}) {
    super(context);
    this.#tools = { device: context.device, clock: context.clock, log: context.log };
    this.#budget = {
      degreesPerSecondMin: options.slewDegreesPerSecondMin ?? 0.5,
      toleranceArcsec: (options.arrivalArcmin ?? 5) * 60,
    };
    this.#nudger = new Nudger(this.#tools, this.#budget);
  }

  /** After a restart the rate is set again; motion is not: what tracks is for the procedure to say. */
  protected override async setUp(signal: AbortSignal, again: boolean): Promise<void> {
    if (again && this.#rate !== undefined) await setTrackRate(this.device, this.#rate, signal);
  }

  get abilities() {
    const modes = this.device.property("TELESCOPE_TRACK_MODE");
    return {
      park: this.has("TELESCOPE_PARK"),
      sync: switchIn(this.device.property("ON_COORD_SET"), "SYNC") !== undefined,
      solarRate: switchIn(modes, "TRACK_SOLAR") !== undefined,
      nudge: this.#nudger.way,
    };
  }

  async state(signal: AbortSignal): Promise<MountState> {
    await this.ready(signal);
    await this.#readAnew(signal);
    const pointing = pointingOf(this.device, this.device.property(eod)!);
    const motion = motionOf(this.device);
    // Of a mount that never leaves Busy: it rests where its last slew ended.
    const rests =
      motion === "slewing" && this.#restedAt && distanceDegrees(pointing, this.#restedAt) * 3600 < 60;
    return {
      pointing,
      motion: rests ? "still" : motion,
      tracking: isTracking(this.device),
      trackRate: trackRateOf(this.device),
      parked: parkedOf(this.device.property("TELESCOPE_PARK")),
    };
  }

  async #readAnew(signal: AbortSignal): Promise<void> {
    const names = [eod, "TELESCOPE_TRACK_STATE", "TELESCOPE_TRACK_MODE", "TELESCOPE_PARK", ...motionAxes];
    await Promise.all(
      names.filter((name) => this.has(name)).map((name) => this.device.refresh(name, {}, signal)),
    );
  }

  async siteAndTime(signal: AbortSignal): Promise<{ site: Site | undefined; utcMs: number | undefined }> {
    await this.ready(signal);
    return readSiteAndTime(this.#tools, signal);
  }

  async ensureUnparked(signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    await setParked(this.device, false, this.#parkBudget(signal), signal);
  }

  async ensureParked(signal: AbortSignal): Promise<void> {
    if (!this.has("TELESCOPE_PARK")) throw new MissingAbilityError(this.name, "this mount cannot park");
    await this.ready(signal);
    await setParked(this.device, true, this.#parkBudget(signal), signal);
    this.#rate = undefined;
    // Park was seen reported too early and wrongly: it is proved by stillness.
    await waitUntilStill(this.#tools, signal);
  }

  #parkBudget(signal: AbortSignal): ParkBudget {
    return {
      withinSeconds: parkExtraSeconds + 180 / this.#budget.degreesPerSecondMin,
      beforeParking: () => this.ensureStopped(signal),
    };
  }

  /** Drivers accept gotos, tracking, jogs and pulses while parking, and pulses while parked: it is for us not to ask. */
  async #checkMayMove(what: string, signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    if (!this.has("TELESCOPE_PARK")) return;
    const park = await this.device.refresh("TELESCOPE_PARK", {}, signal);
    if (park.state === "Busy") throw new RefusedError(this.name, `no ${what} while the mount is parking`);
    if (parkedOf(park) === true) throw new RefusedError(this.name, `no ${what} while the mount is parked`);
  }

  async ensureTracking(rate: TrackRate, signal: AbortSignal): Promise<void> {
    await this.#checkMayMove("tracking", signal);
    await setTrackRate(this.device, rate, signal);
    await setTracking(this.device, true, signal);
    // Some drivers fall back to sidereal when tracking starts.
    await this.#readAnew(signal);
    if (!isTracking(this.device)) throw new ReadbackError(this.name, "tracking", "on", "off");
    if (this.has("TELESCOPE_TRACK_MODE") && trackRateOf(this.device) !== rate) {
      await setTrackRate(this.device, rate, signal);
    }
    this.#rate = rate;
  }

  async ensureTrackingOff(signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    await setTracking(this.device, false, signal);
  }

  async slewTo(target: Equatorial, signal: AbortSignal): Promise<void> {
    const { raHours, decDegrees } = target;
    if (!(Number.isFinite(raHours) && Math.abs(decDegrees) <= 90)) {
      throw new OutOfLimitsError(this.name, "slew target", `${raHours} h, ${decDegrees} degrees`, "the sky");
    }
    await this.#checkMayMove("slew", signal);
    if (motionOf(this.device) !== "still") await this.ensureStopped(signal);
    const place = { raHours: wrapHours(raHours), decDegrees };
    this.#restedAt = undefined;
    await this.stoppedIfFailed(
      async () => {
        await slewAndWait(this.#tools, place, this.#budget, signal);
        const here = await waitUntilStill(this.#tools, signal);
        this.#restedAt = here;
        const offArcsec = distanceDegrees(here, place) * 3600;
        if (offArcsec > refineArcsec) await this.#refine(place, offArcsec, signal);
      },
      (own) => this.ensureStopped(own),
      signal,
    );
    // ON_COORD_SET TRACK ends tracking; a mount that does not start by itself is told to.
    if (this.has("TELESCOPE_TRACK_STATE")) await setTracking(this.device, true, signal);
  }

  /** A long slew may end minutes of arc off; a second, short one ends nearer. Not getting nearer is no failure. */
  async #refine(place: Equatorial, offArcsec: number, signal: AbortSignal): Promise<void> {
    try {
      await slewAndWait(this.#tools, place, { ...this.#budget, toleranceArcsec: offArcsec * 0.3 }, signal);
    } catch (error) {
      if (!(error instanceof ReadbackError || error instanceof RefusedError)) throw error;
    }
    const here = await waitUntilStill(this.#tools, signal);
    if (distanceDegrees(here, place) * 3600 > this.#budget.toleranceArcsec) {
      throw new ReadbackError(this.name, "pointing", "within tolerance of the target", "outside it");
    }
  }

  async syncTo(actual: Equatorial, signal: AbortSignal): Promise<void> {
    if (!this.abilities.sync) throw new MissingAbilityError(this.name, "this mount cannot sync");
    await this.#checkMayMove("sync", signal);
    await syncMount(
      this.device,
      { raHours: wrapHours(actual.raHours), decDegrees: actual.decDegrees },
      signal,
    );
  }

  async nudge(by: { eastArcsec: number; northArcsec: number }, signal: AbortSignal): Promise<void> {
    if (!Number.isFinite(by.eastArcsec) || !Number.isFinite(by.northArcsec)) {
      throw new OutOfLimitsError(
        this.name,
        "nudge",
        `${by.eastArcsec}, ${by.northArcsec}`,
        "finite arcseconds",
      );
    }
    await this.#checkMayMove("nudge", signal);
    await this.stoppedIfFailed(
      () => this.#nudger.nudge(by, signal),
      (own) => this.ensureStopped(own),
      signal,
    );
  }

  /** After an abort nothing is assumed: tracking may have come back by itself, park may be unknown. */
  async ensureStopped(signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    await this.#readAnew(signal);
    if (isParking(this.device)) {
      await waitForParking(this.device, this.#parkBudget(signal).withinSeconds, signal);
      return;
    }
    if (motionOf(this.device) !== "still") {
      if (this.has("TELESCOPE_ABORT_MOTION"))
        await this.device.send("TELESCOPE_ABORT_MOTION", { ABORT: true }, signal);
      for (const axis of motionAxes) {
        if (switchesOn(this.device.property(axis)).length > 0) await endJog(this.device, axis);
      }
      const withinSeconds = 60 + 180 / this.#budget.degreesPerSecondMin; // without an abort command the slew must end
      for (const name of [eod, ...motionAxes, ...pulseAxes].filter((one) => this.has(one))) {
        await this.device.waitFor(name, (vector) => vector.state !== "Busy", { withinSeconds }, signal);
      }
      await waitUntilStill(this.#tools, signal);
      await this.#readAnew(signal);
    }
  }

  override async restoreSetting(setting: Setting, signal: AbortSignal): Promise<void> {
    this.#rate = undefined; // the rate of the work is no more to be kept over a restart of the driver
    await super.restoreSetting(setting, signal);
  }

  protected override keptSettings(): readonly KeptSetting[] {
    return mountSettings(this, this.#tools);
  }

  override describe(): Readonly<Record<string, string>> {
    const { park, sync, solarRate, nudge } = this.abilities;
    const yes = (ability: boolean) => (ability ? "yes" : "no");
    return {
      park: yes(park),
      sync: yes(sync),
      solarRate: yes(solarRate),
      nudge: `by ${nudge}`,
      site: yes(this.has("GEOGRAPHIC_COORD")),
    };
  }
}
