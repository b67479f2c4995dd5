import { turnDegrees, wrapDegrees } from "../../kit/angles.ts";
import { MissingAbilityError, OutOfLimitsError, ReadbackError, RefusedError } from "../../kit/errors.ts";
import { startStopwatch } from "../../kit/stopwatch.ts";
import type { Dome, DomeOptions, ShutterState } from "../../roles/dome.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import { IndiRole, type RoleContext } from "../session/indi-role.ts";
import { readNumber } from "../session/read-number.ts";
import { SwitchPosition } from "../session/switch-position.ts";
import { numberIn, type PropertyVector, parkedOf, switchIn } from "../wire/property.ts";
import { domeSettings } from "./dome-settings.ts";

const azimuthProperty = "ABS_DOME_POSITION";
const azimuthElement = "DOME_ABSOLUTE_POSITION";
const motionProperties = ["DOME_SHUTTER", azimuthProperty, "DOME_MOTION", "DOME_PARK"] as const;

export class IndiDome extends IndiRole implements Dome {
  override readonly role = "dome";
  protected override readonly requiredProperties: readonly string[] = [];
  readonly #shutter: SwitchPosition;
  readonly #shutterSecondsMax: number;
  readonly #turnSecondsMax: number;
  readonly #toleranceDegrees: number;

  constructor(context: RoleContext, options: DomeOptions = {}) {
    super(context);
    this.#shutter = new SwitchPosition(context.device, "DOME_SHUTTER");
    this.#shutterSecondsMax = options.shutterSecondsMax ?? 180;
    this.#turnSecondsMax = 20 + 360 / (options.turnDegreesPerSecondMin ?? 1);
    this.#toleranceDegrees = options.toleranceDegrees ?? 1;
  }

  protected override get mainProperty(): string {
    return motionProperties.find((name) => this.has(name)) ?? "CONNECTION";
  }

  protected override async setUp(signal: AbortSignal): Promise<void> {
    if (this.mainProperty === "CONNECTION") {
      await this.device.require(["DOME_SHUTTER"], { withinSeconds: 5 }, signal);
    }
  }

  get abilities() {
    return {
      shutter: this.has("DOME_SHUTTER"),
      azimuth: this.has(azimuthProperty),
      park: this.has("DOME_PARK"),
    };
  }

  async state(signal: AbortSignal) {
    await this.ready(signal);
    const [shutter, azimuth, motion, park] = await this.#readAll(signal);
    return {
      shutter: shutter && this.#shutterOf(shutter),
      azimuthDegrees: azimuth && numberIn(azimuth, azimuthElement),
      parked: park && parkedOf(park),
      moving: [shutter, azimuth, motion, park].some((vector) => vector?.state === "Busy"),
    };
  }

  async #readAll(signal: AbortSignal): Promise<(PropertyVector | undefined)[]> {
    const vectors = [];
    for (const name of motionProperties) {
      vectors.push(this.has(name) ? await this.device.refresh(name, {}, signal) : undefined);
    }
    return vectors;
  }

  #shutterOf(vector: PropertyVector): ShutterState {
    if (vector.state === "Busy") return "moving";
    const on = this.#shutter.believed(vector);
    return on === "SHUTTER_OPEN" ? "open" : on === "SHUTTER_CLOSE" ? "closed" : "unknown";
  }

  ensureShutterOpen(signal: AbortSignal): Promise<void> {
    return this.#bringShutterTo("open", signal);
  }

  ensureShutterClosed(signal: AbortSignal): Promise<void> {
    return this.#bringShutterTo("closed", signal);
  }

  async #bringShutterTo(wanted: "open" | "closed", signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    if (!this.has("DOME_SHUTTER"))
      throw new MissingAbilityError(this.name, "this dome has no shutter to command");
    await this.#untilStill("DOME_PARK", signal);
    await this.#untilStill("DOME_SHUTTER", signal);
    if (this.#shutterOf(await this.device.refresh("DOME_SHUTTER", {}, signal)) === wanted) return;
    if (wanted === "open") await this.#checkUnparked(signal);
    await this.device.change(
      "DOME_SHUTTER",
      { SHUTTER_OPEN: wanted === "open", SHUTTER_CLOSE: wanted === "closed" },
      {
        withinSeconds: this.#shutterSecondsMax,
        arrived: (vector) =>
          vector.state === "Ok" && switchIn(vector, "SHUTTER_OPEN") === (wanted === "open"),
      },
      signal,
    );
    const reached = this.#shutterOf(await this.device.refresh("DOME_SHUTTER", {}, signal));
    if (reached !== wanted) throw new ReadbackError(this.name, "shutter", wanted, reached);
  }

  async #untilStill(name: string, signal: AbortSignal): Promise<void> {
    if (!this.has(name)) return;
    const withinSeconds = Math.max(this.#shutterSecondsMax, this.#turnSecondsMax);
    await this.device.untilIdle(name, withinSeconds, signal);
  }

  async #checkUnparked(signal: AbortSignal): Promise<void> {
    if (!this.has("DOME_PARK")) return;
    if (parkedOf(await this.device.refresh("DOME_PARK", {}, signal)) === true) {
      throw new RefusedError(this.name, "the dome is parked; it must be unparked before it moves");
    }
  }

  async turnTo(azimuthDegrees: number, signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    if (!this.has(azimuthProperty)) throw new MissingAbilityError(this.name, "this dome does not turn");
    if (!Number.isFinite(azimuthDegrees)) {
      throw new OutOfLimitsError(this.name, "azimuth", azimuthDegrees, "a finite angle in degrees");
    }
    const target = wrapDegrees(azimuthDegrees);
    await this.#untilStill("DOME_PARK", signal);
    await this.#checkUnparked(signal);
    await this.#untilStill(azimuthProperty, signal);
    if (
      Math.abs(turnDegrees(await readNumber(this.device, azimuthProperty, azimuthElement, signal), target)) <
      1e-3
    )
      return;
    await this.stoppedIfFailed(
      () =>
        this.device.change(
          azimuthProperty,
          { [azimuthElement]: target },
          {
            withinSeconds: this.#turnSecondsMax,
            finalStates: ["Ok", "Idle"],
            arrived: (vector) => this.#isNear(numberIn(vector, azimuthElement) ?? Number.NaN, target),
          },
          signal,
        ),
      (own) => this.ensureStopped(own),
      signal,
    );
  }

  #isNear(azimuth: number, target: number): boolean {
    return Math.abs(turnDegrees(azimuth, target)) <= this.#toleranceDegrees;
  }

  async ensureUnparked(signal: AbortSignal): Promise<void> {
    await this.#bringParkTo(false, signal);
  }

  async #bringParkTo(parked: boolean, signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    if (!this.has("DOME_PARK")) return;
    await this.#untilStill("DOME_PARK", signal);
    if (parkedOf(await this.device.refresh("DOME_PARK", {}, signal)) !== parked) {
      await this.device.change(
        "DOME_PARK",
        { PARK: parked, UNPARK: !parked },
        {
          withinSeconds: this.#turnSecondsMax + this.#shutterSecondsMax,
          arrived: (vector) => parkedOf(vector) === parked,
        },
        signal,
      );
    }
    // Parking takes the shutter along, and says that it is done before the shutter is.
    await this.#untilStill("DOME_SHUTTER", signal);
  }

  /** Drivers were seen to answer an abort and to turn on: what counts is that nothing is Busy and nothing turns. */
  async ensureStopped(signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    const moving = (await this.#readAll(signal)).some((vector) => vector?.state === "Busy");
    if (!moving) return;
    if (this.has("DOME_ABORT_MOTION")) await this.device.send("DOME_ABORT_MOTION", { ABORT: true }, signal);
    for (const name of motionProperties) await this.#untilStill(name, signal);
    if (!this.has(azimuthProperty)) return;
    const elapsedSeconds = startStopwatch(this.clock);
    for (let before = await readNumber(this.device, azimuthProperty, azimuthElement, signal); ; ) {
      await this.clock.sleep(1.5, signal);
      const now = await readNumber(this.device, azimuthProperty, azimuthElement, signal);
      if (Math.abs(turnDegrees(before, now)) < 0.1) return;
      if (elapsedSeconds() > this.#turnSecondsMax)
        throw new ReadbackError(this.name, "motion", "still", "turning");
      before = now;
    }
  }

  protected override keptSettings(): readonly KeptSetting[] {
    return domeSettings(this, {
      untilStill: async (signal) => {
        for (const name of motionProperties) await this.#untilStill(name, signal);
      },
      bringParkTo: (parked, signal) => this.#bringParkTo(parked, signal),
      isNear: (azimuth, target) => this.#isNear(azimuth, target),
    });
  }

  override describe(): Readonly<Record<string, string>> {
    const { shutter, azimuth, park } = this.abilities;
    return {
      shutter: shutter ? "opens and closes" : "none",
      azimuth: azimuth ? "turns" : "none",
      park: park ? "yes" : "no",
    };
  }
}
