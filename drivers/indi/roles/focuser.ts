import { OutOfLimitsError } from "../../kit/errors.ts";
import type { Range } from "../../roles/device.ts";
import type { Focuser, FocuserOptions } from "../../roles/focuser.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import { IndiRole, type RoleContext } from "../session/indi-role.ts";
import { readNumber } from "../session/read-number.ts";
import { limitsOf, numberIn } from "../wire/property.ts";

const property = "ABS_FOCUS_POSITION";
const element = "FOCUS_ABSOLUTE_POSITION";

export class IndiFocuser extends IndiRole implements Focuser {
  override readonly role = "focuser";
  protected override readonly mainProperty = property;
  protected override readonly requiredProperties = [property];
  readonly #stepsPerSecondMin: number;

  constructor(context: RoleContext, options: FocuserOptions = {}) {
    super(context);
    this.#stepsPerSecondMin = options.stepsPerSecondMin ?? 100;
  }

  /** As the device states them now: FOCUS_MAX rewrites them with an update. */
  get limits(): { readonly positionSteps: Range } {
    const limits = limitsOf(this.device.property(property), element);
    return { positionSteps: limits ? { min: limits.min, max: limits.max } : { min: 0, max: 0 } };
  }

  async positionSteps(signal: AbortSignal): Promise<number> {
    await this.ready(signal);
    return readNumber(this.device, property, element, signal);
  }

  async moveTo(positionSteps: number, signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    const { min, max } = this.limits.positionSteps;
    if (!(positionSteps >= min && positionSteps <= max)) {
      throw new OutOfLimitsError(this.name, "focuser position", positionSteps, `${min} to ${max} steps`);
    }
    const target = Math.round(positionSteps);
    const from = await this.positionSteps(signal);
    if (from === target) return;
    const withinSeconds = this.#moveSeconds(Math.abs(target - from));
    await this.stoppedIfFailed(
      () =>
        this.device.change(
          property,
          { [element]: target },
          {
            withinSeconds,
            // Some drivers block during the move: no Busy, no other answer, then Ok at once.
            replySeconds: withinSeconds,
            arrived: (vector) => Math.abs((numberIn(vector, element) ?? Number.NaN) - target) < 0.5,
          },
          signal,
        ),
      (own) => this.ensureStopped(own),
      signal,
    );
  }

  #moveSeconds(steps: number): number {
    return 15 + steps / this.#stepsPerSecondMin;
  }

  /** Without an abort command the move in hand is waited for. */
  async ensureStopped(signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    const wholeTravel = this.#moveSeconds(this.limits.positionSteps.max - this.limits.positionSteps.min);
    const now = this.device.property(property);
    if (now?.state !== "Busy" && now?.awaitingAnswer !== true) return;
    if (this.has("FOCUS_ABORT_MOTION")) {
      await this.device.send("FOCUS_ABORT_MOTION", { ABORT: true }, signal);
      await this.device.refresh(property, { withinSeconds: wholeTravel }, signal);
    }
    await this.device.untilIdle(property, wholeTravel, signal);
  }

  protected override keptSettings(): readonly KeptSetting[] {
    return [
      {
        key: "position",
        unit: "steps",
        read: (signal) => this.positionSteps(signal),
        restore: (value, signal) => this.moveTo(Number(value), signal),
        same: (before, now) => Math.abs(Number(before) - Number(now)) < 0.5,
      },
    ];
  }

  override describe(): Readonly<Record<string, string>> {
    const { min, max } = this.limits.positionSteps;
    return { position: `${min} to ${max} steps`, abort: this.has("FOCUS_ABORT_MOTION") ? "yes" : "no" };
  }
}
