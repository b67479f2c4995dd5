import { turnDegrees, wrapDegrees } from "../../kit/angles.ts";
import { MissingAbilityError, OutOfLimitsError, ReadbackError, RefusedError } from "../../kit/errors.ts";
import { resolveAll } from "../../kit/resolve-all.ts";
import type { Dome, DomeOptions, ShutterState } from "../../roles/dome.ts";
import { type KeptSetting, openOrClosedSetting } from "../../roles/kept-settings.ts";
import { AlpacaRole, type RoleContext } from "../session/alpaca-role.ts";
import { ensureProperty, type Property, propertySetting } from "../session/kept-setting.ts";
import { flag, number, whole } from "../wire/values.ts";

/** ShutterState of the standard; 4 is an error. */
const shutterStates: Readonly<Record<number, ShutterState>> = {
  0: "open",
  1: "closed",
  2: "moving",
  3: "moving",
};
const slaved: Property<boolean> = { name: "Slaved", schema: flag };

export class AlpacaDome extends AlpacaRole implements Dome {
  override readonly role = "dome";
  readonly #shutterSecondsMax: number;
  readonly #turnSecondsMax: number;
  readonly #toleranceDegrees: number;
  #abilities = { shutter: false, azimuth: false, park: false };
  #canSlave = false;

  constructor(context: RoleContext, options: DomeOptions = {}) {
    super(context);
    this.#shutterSecondsMax = options.shutterSecondsMax ?? 180;
    this.#turnSecondsMax = 20 + 360 / (options.turnDegreesPerSecondMin ?? 1);
    this.#toleranceDegrees = options.toleranceDegrees ?? 1;
  }

  protected override async readFacts(signal: AbortSignal): Promise<void> {
    const can = (member: string) => this.device.can(member, signal);
    const { canSlave, ...abilities } = await resolveAll({
      shutter: can("cansetshutter"),
      azimuth: can("cansetazimuth"),
      park: can("canpark"),
      canSlave: can("canslave"),
    });
    this.#abilities = abilities;
    this.#canSlave = canSlave;
  }

  protected override ping(signal: AbortSignal): Promise<boolean> {
    return this.device.probe("slewing", flag, signal);
  }

  get abilities() {
    return this.#abilities;
  }

  state(signal: AbortSignal) {
    return this.recovering(async () => {
      const { status, slewing, azimuthDegrees, parked } = await resolveAll({
        status: this.#shutterStatus(signal),
        slewing: this.device.get("slewing", flag, signal),
        azimuthDegrees: this.#azimuth(signal),
        parked: this.#abilities.park ? this.device.optional("atpark", flag, signal) : undefined,
      });
      const shutter = status === undefined ? undefined : (shutterStates[status] ?? "unknown");
      return {
        shutter,
        azimuthDegrees,
        parked,
        moving: slewing || shutter === "moving",
      };
    }, signal);
  }

  #shutterStatus(signal: AbortSignal): Promise<number | undefined> {
    return this.device.optional("shutterstatus", whole, signal);
  }

  async #azimuth(signal: AbortSignal): Promise<number | undefined> {
    const azimuth = await this.device.optional("azimuth", number, signal);
    return azimuth === undefined ? undefined : wrapDegrees(azimuth);
  }

  ensureShutterOpen(signal: AbortSignal): Promise<void> {
    return this.recovering(() => this.#bringShutterTo("open", signal), signal);
  }

  ensureShutterClosed(signal: AbortSignal): Promise<void> {
    return this.recovering(() => this.#bringShutterTo("closed", signal), signal);
  }

  async #bringShutterTo(wanted: "open" | "closed", signal: AbortSignal): Promise<void> {
    if (!this.#abilities.shutter) {
      throw new MissingAbilityError(this.name, "this dome has no shutter to command");
    }
    if ((await this.#shutterAtRest(signal)) === wanted) return;
    await this.device.put(wanted === "open" ? "openshutter" : "closeshutter", {}, signal, {
      withinSeconds: this.#shutterSecondsMax,
    });
    const reached = await this.#shutterAtRest(signal);
    if (reached !== wanted) throw new ReadbackError(this.name, "shutter", wanted, reached);
  }

  /** The status is the completion, not `slewing`; a shutter that reports an error is in an unknown place. */
  #shutterAtRest(signal: AbortSignal): Promise<ShutterState> {
    return this.device.until(
      "the shutter's motion",
      { withinSeconds: this.#shutterSecondsMax, precisionSeconds: 0.5 },
      async (abort) => {
        const status = await this.device.get("shutterstatus", whole, abort);
        const state = shutterStates[status] ?? "unknown";
        return state === "moving" ? undefined : state;
      },
      signal,
    );
  }

  async turnTo(azimuthDegrees: number, signal: AbortSignal): Promise<void> {
    if (!this.#abilities.azimuth) throw new MissingAbilityError(this.name, "this dome does not turn");
    if (!Number.isFinite(azimuthDegrees)) {
      throw new OutOfLimitsError(this.name, "azimuth", azimuthDegrees, "a finite angle in degrees");
    }
    const target = wrapDegrees(azimuthDegrees);
    await this.moveOrStop(
      () => this.#bringTo(target, signal),
      (own) => this.#stop(own),
      signal,
    );
  }

  async #bringTo(target: number, signal: AbortSignal): Promise<void> {
    await this.#untilStill(signal);
    const now = await this.#azimuth(signal);
    if (now !== undefined && Math.abs(turnDegrees(now, target)) < 1e-3) return;
    // A dome that follows the mount refuses to be turned; it is put back with the other settings.
    if (this.#canSlave) await ensureProperty(this.device, slaved, false, signal);
    await this.device.put("slewtoazimuth", { Azimuth: target }, signal, {
      withinSeconds: this.#turnSecondsMax,
    });
    await this.#untilStill(signal);
    const reached = (await this.#azimuth(signal)) ?? Number.NaN;
    if (!this.#isNear(reached, target)) throw new ReadbackError(this.name, "azimuth", target, reached);
  }

  #isNear(azimuth: number, target: number): boolean {
    return Math.abs(turnDegrees(azimuth, target)) <= this.#toleranceDegrees;
  }

  async #untilStill(signal: AbortSignal): Promise<void> {
    const withinSeconds = this.#turnSecondsMax + this.#shutterSecondsMax;
    const options = { withinSeconds, precisionSeconds: 0.5 };
    await this.device.untilOff("the dome's motion", "slewing", options, signal);
  }

  /** The standard has no unparking: the next motion ends it. */
  async ensureUnparked(signal: AbortSignal): Promise<void> {
    await this.ready(signal);
  }

  async ensureStopped(signal: AbortSignal): Promise<void> {
    await this.recovering(async () => {
      if (await this.device.get("slewing", flag, signal)) await this.#stop(signal);
    }, signal);
  }

  async #stop(signal: AbortSignal): Promise<void> {
    await this.device.put("abortslew", {}, signal, { urgent: true });
    await this.#untilStill(signal);
  }

  protected override keptSettings(): readonly KeptSetting[] {
    const { shutter, azimuth, park } = this.#abilities;
    const settings: KeptSetting[] = [];
    if (azimuth) {
      settings.push({
        key: "azimuth",
        unit: "degrees",
        // A parked dome's direction belongs to its park position, a slaved one's to the mount.
        read: async (signal) => {
          const { isFree, azimuth } = await resolveAll({
            isFree: this.#isFree(signal),
            azimuth: this.#azimuth(signal),
          });
          return isFree ? azimuth : undefined;
        },
        restore: (value, signal) => this.turnTo(Number(value), signal),
        same: (before, now) => this.#isNear(Number(before), Number(now)),
      });
    }
    if (shutter) {
      const bringTo = (wanted: "open" | "closed", signal: AbortSignal) =>
        this.recovering(() => this.#bringShutterTo(wanted, signal), signal);
      settings.push(openOrClosedSetting("shutter", (signal) => this.#shutterAtRest(signal), bringTo));
    }
    if (this.#canSlave) settings.push(propertySetting(this.device, "slaved", slaved));
    if (park) {
      settings.push({
        key: "parked",
        read: (signal) => this.device.get("atpark", flag, signal),
        restore: (value, signal) => this.#restoreParked(value === true, signal),
      });
    }
    return settings;
  }

  async #isFree(signal: AbortSignal): Promise<boolean> {
    const { isParked, isSlaved } = await resolveAll({
      isParked: this.#abilities.park && this.device.get("atpark", flag, signal),
      isSlaved: this.#canSlave && this.device.get("slaved", flag, signal),
    });
    return !isParked && !isSlaved;
  }

  async #restoreParked(parked: boolean, signal: AbortSignal): Promise<void> {
    if ((await this.device.get("atpark", flag, signal)) === parked) return;
    // Not parked is how it is after the azimuth was put back; there is no command for it.
    if (!parked) throw new RefusedError(this.name, "the dome is parked, was found unparked, and cannot turn");
    await this.device.put("park", {}, signal, { withinSeconds: this.#turnSecondsMax });
    await this.#untilStill(signal);
    if (!(await this.device.get("atpark", flag, signal))) {
      throw new ReadbackError(this.name, "parked", true, false);
    }
  }

  override describe(): Readonly<Record<string, string>> {
    const { shutter, azimuth, park } = this.#abilities;
    return {
      shutter: shutter ? "opens and closes" : "none",
      azimuth: azimuth ? "turns" : "none",
      park: park ? "yes" : "no",
      slaved: this.#canSlave ? "can follow the mount by itself" : "no",
    };
  }
}
