import { MissingAbilityError, ReadbackError, RefusedError } from "../../kit/errors.ts";
import { wrapHours } from "../../kit/sidereal.ts";
import type { Setting } from "../../roles/device.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import {
  describeAbilities,
  type Equatorial,
  type Mount,
  type MountOptions,
  type MountState,
  type SiteAndTime,
  type TrackRate,
} from "../../roles/mount.ts";
import type { SkyOffset } from "../../roles/mount-sky.ts";
import {
  checkNudge,
  checkSlewTarget,
  parkSecondsMax,
  refineSlew,
  type SlewBudget,
  slewBudgetOf,
} from "../../roles/slew.ts";
import { Stillness } from "../../roles/stillness.ts";
import { IndiRole, type RoleContext } from "../session/indi-role.ts";
import { parkedOf, switchesOn, switchIn } from "../wire/property.ts";
import { endJog } from "./mount-jog.ts";
import { Nudger } from "./mount-nudge.ts";
import {
  eod,
  isParking,
  isTracking,
  lookAt,
  type MountTools,
  motionAxes,
  motionOf,
  trackRateOf,
} from "./mount-reading.ts";
import { mountSettings } from "./mount-settings.ts";
import { readSiteAndTime } from "./mount-site.ts";
import { slewAndWait, syncMount, waitUntilStill } from "./mount-slew.ts";
import { setTracking, setTrackRate } from "./mount-track.ts";

const parkProperty = "TELESCOPE_PARK";
/** Parking may stand for a while between two motions [s]. */
const parkingRestSeconds = 15;

export class IndiMount extends IndiRole implements Mount {
  override readonly role = "mount";
  protected override readonly mainProperty = eod;
  protected override readonly requiredProperties = [eod];
  readonly #budget: SlewBudget;
  readonly #nudger: Nudger;
  /** Set by us last; a driver that restarts falls back to sidereal. */
  #rate: TrackRate | undefined;
  readonly #tools: MountTools;

  constructor(context: RoleContext, options: MountOptions = {}) {
    super(context);
    this.#budget = slewBudgetOf(options);
    this.#tools = { ...this.tools, stillness: new Stillness({ ...this.tools, device: this.name }) };
    this.#nudger = new Nudger(this.#tools, this.#budget);
  }

  /** After a restart the rate is set again; motion is not: what tracks is for the procedure to say. */
  protected override async setUp(signal: AbortSignal, again: boolean): Promise<void> {
    if (again && this.#rate !== undefined) await setTrackRate(this.device, this.#rate, signal);
  }

  get abilities(): Mount["abilities"] {
    const modes = this.device.property("TELESCOPE_TRACK_MODE");
    return {
      park: this.has(parkProperty),
      sync: switchIn(this.device.property("ON_COORD_SET"), "SYNC") !== undefined,
      solarRate: switchIn(modes, "TRACK_SOLAR") !== undefined,
      nudge: this.#nudger.smallMoves?.kind ?? "slew",
    };
  }

  async state(signal: AbortSignal): Promise<MountState> {
    await this.ready(signal);
    await this.#readAnew(signal);
    return {
      pointing: lookAt(this.device).pointing,
      motion: this.#isAtRest() ? "still" : motionOf(this.device),
      tracking: isTracking(this.device),
      trackRate: trackRateOf(this.device),
      parked: parkedOf(this.device.property(parkProperty)),
    };
  }

  #isAtRest(): boolean {
    return this.#tools.stillness.isAtRest(lookAt(this.device));
  }

  async #readAnew(signal: AbortSignal): Promise<void> {
    const names = [eod, "TELESCOPE_TRACK_STATE", "TELESCOPE_TRACK_MODE", parkProperty, ...motionAxes];
    await Promise.all(
      names.filter((name) => this.has(name)).map((name) => this.device.refresh(name, {}, signal)),
    );
  }

  async siteAndTime(signal: AbortSignal): Promise<SiteAndTime> {
    await this.ready(signal);
    return readSiteAndTime(this.tools, signal);
  }

  ensureUnparked(signal: AbortSignal): Promise<void> {
    return this.overrulable((abort) => this.#unpark(abort), signal);
  }

  async #unpark(signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    if (this.has(parkProperty)) await this.#bringParkTo(false, signal);
  }

  ensureParked(signal: AbortSignal): Promise<void> {
    return this.overrulable((abort) => this.#park(abort), signal);
  }

  async #park(signal: AbortSignal): Promise<void> {
    if (!this.has(parkProperty)) throw new MissingAbilityError(this.name, "this mount cannot park");
    await this.ready(signal);
    await this.#bringParkTo(true, signal);
    this.#rate = undefined;
    // Park was seen reported too early and wrongly: it is proved by stillness.
    await waitUntilStill(this.#tools, signal);
  }

  async #bringParkTo(parked: boolean, signal: AbortSignal): Promise<void> {
    await this.#untilParkingEnds(signal);
    if (parkedOf(await this.device.refresh(parkProperty, {}, signal)) === parked) return;
    if (parked) await this.ensureStopped(signal);
    await this.device.change(
      parkProperty,
      { PARK: parked, UNPARK: !parked },
      {
        withinSeconds: parkSecondsMax(this.#budget),
        // The first answers may still show the old place.
        settleSeconds: 2,
        arrived: (vector) => parkedOf(vector) === parked,
      },
      signal,
    );
  }

  /** Unparking or stopping a mount in the middle of its parking leaves it without a known place. */
  async #untilParkingEnds(signal: AbortSignal): Promise<void> {
    await this.#readAnew(signal);
    if (!isParking(this.device) || this.#isAtRest()) return;
    const options = { withinSeconds: parkSecondsMax(this.#budget), surelySeconds: parkingRestSeconds };
    await waitUntilStill(this.#tools, signal, options);
  }

  /** Drivers accept gotos, tracking, jogs and pulses while parking, and pulses while parked: it is for us not to ask. */
  async #checkMayMove(what: string, signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    if (!this.has(parkProperty)) return;
    const park = await this.device.refresh(parkProperty, {}, signal);
    if (park.state === "Busy" && !this.#isAtRest())
      throw new RefusedError(this.name, `no ${what} while the mount is parking`);
    if (parkedOf(park) === true) throw new RefusedError(this.name, `no ${what} while the mount is parked`);
  }

  ensureTracking(rate: TrackRate, signal: AbortSignal): Promise<void> {
    return this.overrulable((abort) => this.#trackAt(rate, abort), signal);
  }

  async #trackAt(rate: TrackRate, signal: AbortSignal): Promise<void> {
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
    const place = checkSlewTarget(this.name, target);
    await this.overrulable((abort) => this.#slewTo(place, abort), signal);
  }

  async #slewTo(place: Equatorial, signal: AbortSignal): Promise<void> {
    await this.#checkMayMove("slew", signal);
    if (!this.#isAtRest()) await this.ensureStopped(signal);
    await this.stoppedIfFailed(
      async () => {
        await slewAndWait(this.#tools, place, this.#budget, signal);
        const here = await waitUntilStill(this.#tools, signal);
        const mount = {
          device: this.name,
          budget: this.#budget,
          slew: (budget: SlewBudget) => slewAndWait(this.#tools, place, budget, signal),
          readPointing: () => waitUntilStill(this.#tools, signal),
        };
        await refineSlew(mount, place, here);
      },
      (own) => this.ensureStopped(own),
      signal,
    );
    // ON_COORD_SET TRACK ends tracking; a mount that does not start by itself is told to.
    if (this.has("TELESCOPE_TRACK_STATE")) await setTracking(this.device, true, signal);
  }

  async syncTo(actual: Equatorial, signal: AbortSignal): Promise<void> {
    if (!this.abilities.sync) throw new MissingAbilityError(this.name, "this mount cannot sync");
    await this.#checkMayMove("sync", signal);
    const place = { raHours: wrapHours(actual.raHours), decDegrees: actual.decDegrees };
    await syncMount(this.device, place, signal);
  }

  async nudge(by: SkyOffset, signal: AbortSignal): Promise<void> {
    checkNudge(this.name, by);
    await this.overrulable(async (abort) => {
      await this.#checkMayMove("nudge", abort);
      await this.stoppedIfFailed(
        () => this.#nudger.nudge(by, abort),
        (own) => this.ensureStopped(own),
        abort,
      );
    }, signal);
  }

  sendStop(signal: AbortSignal): Promise<void> {
    return this.sendSwitches("TELESCOPE_ABORT_MOTION", { ABORT: true }, signal);
  }

  sendTrackingOff(signal: AbortSignal): Promise<void> {
    return this.sendSwitches("TELESCOPE_TRACK_STATE", { TRACK_ON: false, TRACK_OFF: true }, signal);
  }

  /** After an abort nothing is assumed: tracking may have come back by itself, park may be unknown. */
  async ensureStopped(signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    await this.#readAnew(signal);
    if (this.#isAtRest()) return;
    if (isParking(this.device)) return this.#untilParkingEnds(signal);
    if (this.has("TELESCOPE_ABORT_MOTION"))
      await this.device.send("TELESCOPE_ABORT_MOTION", { ABORT: true }, signal);
    for (const axis of motionAxes) {
      if (switchesOn(this.device.property(axis)).length > 0) await endJog(this.device, axis);
    }
    const withinSeconds = 60 + 180 / this.#budget.degreesPerSecondMin; // without an abort command the slew must end
    await waitUntilStill(this.#tools, signal, { withinSeconds });
    await this.#readAnew(signal);
  }

  override async restoreSetting(setting: Setting, signal: AbortSignal): Promise<void> {
    this.#rate = undefined; // the rate of the work is no more to be kept over a restart of the driver
    await super.restoreSetting(setting, signal);
  }

  protected override keptSettings(): readonly KeptSetting[] {
    return mountSettings(this, this.tools);
  }

  override describe(): Readonly<Record<string, string>> {
    return describeAbilities(this.abilities, this.has("GEOGRAPHIC_COORD"));
  }
}
