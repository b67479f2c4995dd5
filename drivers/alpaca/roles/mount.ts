import { MissingAbilityError, OverruledError, ReadbackError } from "../../kit/errors.ts";
import { resolveAll } from "../../kit/resolve-all.ts";
import type { Setting } from "../../roles/device.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import {
  describeAbilities,
  type Equatorial,
  type Mount,
  type MountOptions,
  type MountState,
  type PierSide,
  type SiteAndTime,
  type TrackRate,
} from "../../roles/mount.ts";
import { distanceDegrees, type SkyOffset } from "../../roles/mount-sky.ts";
import {
  checkNudge,
  checkSlewTarget,
  placeText,
  refineSlew,
  type SlewBudget,
  slewBudgetOf,
} from "../../roles/slew.ts";
import { Stillness } from "../../roles/stillness.ts";
import { AlpacaRole, type RoleContext } from "../session/alpaca-role.ts";
import { ensureProperty } from "../session/kept-setting.ts";
import { AscomError, ascom } from "../wire/errors.ts";
import type { Parameters } from "../wire/parameters.ts";
import { flag } from "../wire/values.ts";
import { driveRate, type MountFacts, readMountFacts } from "./mount-facts.ts";
import { Nudger } from "./mount-nudge.ts";
import { setTracking, setTrackRate, trackAt, trackingRate } from "./mount-rate.ts";
import {
  type MountReading,
  type MountTools,
  readMount,
  readPierSide,
  readSiteAndTime,
  readTrackRate,
  toMountEquinox,
} from "./mount-reading.ts";
import { MountRest } from "./mount-rest.ts";
import { mountSettings } from "./mount-settings.ts";
import { slewAndWait, waitUntilStill } from "./mount-slew.ts";

/** Between two looks; settling, a flexure model or the sky move a mount by less. */
const foreignSlewDegrees = 5 / 60;

export class AlpacaMount extends AlpacaRole implements Mount {
  override readonly role = "mount";
  readonly #tools: MountTools;
  readonly #budget: SlewBudget;
  readonly #rest: MountRest;
  readonly #nudger: Nudger;
  #known: MountFacts | undefined;
  #lastSeen: Equatorial | undefined;
  #isForeignSlewNoted = false;
  /** Set by us last; mounts fall back to sidereal when they restart, and some after a slew. */
  #rate: TrackRate | undefined;

  constructor(context: RoleContext, options: MountOptions = {}) {
    super(context);
    const stillness = new Stillness({ ...this.tools, device: this.name });
    this.#tools = { ...this.tools, facts: () => this.#facts, stillness };
    this.#budget = slewBudgetOf(options);
    this.#rest = new MountRest(this.#tools, this.#budget);
    this.#nudger = new Nudger(this.#tools, this.#budget);
  }

  protected override async readFacts(signal: AbortSignal): Promise<void> {
    this.#known = await readMountFacts(this.device, signal);
  }

  /** The rate is set again; motion is not: what tracks is for the procedure to say. */
  protected override async setUp(signal: AbortSignal): Promise<void> {
    if (this.#rate !== undefined) await setTrackRate(this.#tools, this.#rate, signal);
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
    return {
      park: canPark,
      sync: canSync,
      solarRate,
      nudge: this.#nudger.smallMoves?.kind ?? "slew",
    } as const;
  }

  state(signal: AbortSignal): Promise<MountState> {
    return this.recovering(async () => {
      const { seen, trackRate } = await resolveAll({
        seen: readMount(this.#tools, signal),
        trackRate: readTrackRate(this.#tools, signal),
      });
      this.#noteForeignSlew(seen);
      return {
        pointing: seen.pointing,
        motion: this.#rest.motionOf(seen),
        tracking: seen.tracking,
        trackRate,
        parked: seen.parked,
      };
    }, signal);
  }

  pierSide(at: "now" | Equatorial, signal: AbortSignal): Promise<PierSide | undefined> {
    return this.recovering(() => readPierSide(this.#tools, at, signal), signal);
  }

  /** The protocol tells of no commands: a mount that goes elsewhere and says that it slews was sent by somebody. */
  #noteForeignSlew(seen: MountReading): void {
    const before = this.#lastSeen;
    this.#lastSeen = seen.pointing;
    const slews = seen.slewing && !this.#rest.isAtRest(seen) && !this.isMovedFromHere;
    if (!slews) this.#isForeignSlewNoted = false;
    if (!slews || !before || distanceDegrees(before, seen.pointing) < foreignSlewDegrees) return;
    if (this.#isForeignSlewNoted) return;
    this.#isForeignSlewNoted = true;
    const way = `from ${placeText(before)} over ${placeText(seen.pointing)}`;
    this.foreignCommands.note(`it slews ${way}, which was not commanded from here`);
  }

  siteAndTime(signal: AbortSignal): Promise<SiteAndTime> {
    return this.recovering(() => readSiteAndTime(this.#tools, signal), signal);
  }

  async ensureUnparked(signal: AbortSignal): Promise<void> {
    await this.#bringParkTo(false, signal);
  }

  async ensureParked(signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    if (!this.#facts.canPark) throw new MissingAbilityError(this.name, "this mount cannot park");
    await this.#bringParkTo(true, signal);
    this.#rate = undefined;
  }

  #bringParkTo(parked: boolean, signal: AbortSignal): Promise<void> {
    return this.overrulable(
      (abort) => this.recovering(() => this.#rest.bringParkTo(parked, abort), abort),
      signal,
    );
  }

  /** @throws RefusedError while parked or parking, before anything is sent */
  async #checkMayMove(what: string, signal: AbortSignal): Promise<MountReading> {
    const now = await this.recovering(() => readMount(this.#tools, signal), signal);
    this.#rest.checkMayMove(what, now);
    return now;
  }

  async ensureTracking(rate: TrackRate, signal: AbortSignal): Promise<void> {
    await this.overrulable(async (abort) => {
      await this.#checkMayMove("tracking", abort);
      await this.recovering(() => trackAt(this.#tools, rate, abort), abort);
    }, signal);
    this.#rate = rate;
  }

  async ensureTrackingOff(signal: AbortSignal): Promise<void> {
    await this.recovering(() => setTracking(this.#tools, false, signal), signal);
  }

  async slewTo(target: Equatorial, signal: AbortSignal): Promise<void> {
    const place = checkSlewTarget(this.name, target);
    await this.overrulable((abort) => this.#slewTo(place, abort), signal);
  }

  async #slewTo(place: Equatorial, signal: AbortSignal): Promise<void> {
    const before = await this.#checkMayMove("slew", signal);
    const rateBefore = await readTrackRate(this.#tools, signal);
    if (!this.#rest.isAtRest(before)) await this.#rest.stop(signal);
    await this.stoppedIfFailed(
      async () => {
        await setTracking(this.#tools, true, signal); // equatorial slews are refused without
        const there = await slewAndWait(this.#tools, place, this.#budget, signal);
        const mount = {
          device: this.name,
          budget: this.#budget,
          slew: (budget: SlewBudget) => slewAndWait(this.#tools, place, budget, signal),
          readPointing: async () => (await readMount(this.#tools, signal)).pointing,
        };
        await refineSlew(mount, place, there.pointing);
        await waitUntilStill(this.#tools, signal);
      },
      (own) => this.#stopMotion(own, signal),
      signal,
    );
    await setTracking(this.#tools, true, signal);
    if (rateBefore !== undefined && rateBefore !== "custom" && this.#facts.trackingRates.length > 1) {
      await ensureProperty(this.device, trackingRate, driveRate[rateBefore], signal);
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

  async nudge(by: SkyOffset, signal: AbortSignal): Promise<void> {
    checkNudge(this.name, by);
    await this.overrulable(async (abort) => {
      await this.#checkMayMove("nudge", abort);
      await this.stoppedIfFailed(
        () => this.#nudger.nudge(by, abort),
        (own) => this.#stopMotion(own, abort),
        abort,
      );
    }, signal);
  }

  /** After a motion that failed; it tracks on, unless a command for safety's sake ended it. */
  #stopMotion(signal: AbortSignal, ended: AbortSignal): Promise<void> {
    return this.#rest.stop(signal, { tracking: !(ended.reason instanceof OverruledError) });
  }

  /** A parked mount has nothing to stop, and says so with an error. */
  sendStop(signal: AbortSignal): Promise<void> {
    return this.sendUnasked((abort) => this.#sendUnlessParked("abortslew", {}, abort), signal);
  }

  sendTrackingOff(signal: AbortSignal): Promise<void> {
    return this.sendUnasked(async (abort) => {
      if (!this.#facts.canSetTracking)
        throw new MissingAbilityError(this.name, "tracking cannot be commanded");
      await this.#sendUnlessParked("tracking", { Tracking: false }, abort);
    }, signal);
  }

  async #sendUnlessParked(member: string, parameters: Parameters, signal: AbortSignal): Promise<void> {
    try {
      await this.device.put(member, parameters, signal, { urgent: true });
    } catch (error) {
      if (!(error instanceof AscomError) || error.errorNumber !== ascom.parked) throw error;
    }
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
    return mountSettings(this, this.#tools, (on, signal) =>
      this.overrulable((abort) => setTracking(this.#tools, on, abort), signal),
    );
  }

  override describe(): Readonly<Record<string, string>> {
    const { canSlewAsync, canSlewSync, hasSite } = this.#facts;
    return {
      slew: canSlewAsync ? "yes" : canSlewSync ? "yes, answering only at the end" : "no",
      ...describeAbilities(this.abilities, hasSite),
    };
  }
}
