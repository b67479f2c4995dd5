import { turnDegrees, wrapDegrees } from "../../kit/angles.ts";
import { OutOfLimitsError } from "../../kit/errors.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { Rotator } from "../../roles/rotator.ts";
import { IndiRole } from "../session/indi-role.ts";
import { readNumber } from "../session/read-number.ts";
import { limitsOf, numberIn } from "../wire/property.ts";

const property = "ABS_ROTATOR_ANGLE";
const element = "ANGLE";
/** Slowest turning that a deadline allows for [degrees/s]. */
const slowestDegreesPerSecond = 0.5;
/** Steps of real rotators are coarser than numbers [degrees]. */
const toleranceDegrees = 0.3;

export class IndiRotator extends IndiRole implements Rotator {
  override readonly role = "rotator";
  protected override readonly mainProperty = property;
  protected override readonly requiredProperties = [property];

  async angleDegrees(signal: AbortSignal): Promise<number> {
    await this.ready(signal);
    return wrapDegrees(await readNumber(this.device, property, element, signal));
  }

  /** Any angle may be asked; it is brought into one turn, because drivers obey 400 degrees to the letter. */
  async moveTo(angleDegrees: number, signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    if (!Number.isFinite(angleDegrees)) {
      throw new OutOfLimitsError(this.name, "rotator angle", angleDegrees, "a finite angle in degrees");
    }
    const target = wrapDegrees(angleDegrees);
    const limits = limitsOf(this.device.property(property), element);
    if (limits && (target < limits.min || target > limits.max)) {
      throw new OutOfLimitsError(
        this.name,
        "rotator angle",
        target,
        `${limits.min} to ${limits.max} degrees`,
      );
    }
    await this.ensureStopped(signal);
    if (Math.abs(turnDegrees(await this.angleDegrees(signal), target)) < 1e-3) return;
    await this.stoppedIfFailed(
      () =>
        this.device.change(
          property,
          { [element]: target },
          {
            withinSeconds: 20 + 360 / slowestDegreesPerSecond,
            arrived: (vector) => this.#isAt(numberIn(vector, element) ?? Number.NaN, target),
          },
          signal,
        ),
      (own) => this.ensureStopped(own),
      signal,
    );
  }

  #isAt(angle: number, target: number): boolean {
    return Math.abs(turnDegrees(angle, target)) <= toleranceDegrees;
  }

  async ensureStopped(signal: AbortSignal): Promise<void> {
    await this.ready(signal);
    const now = await this.device.refresh(property, {}, signal);
    if (now.state !== "Busy") return;
    if (this.has("ROTATOR_ABORT_MOTION"))
      await this.device.send("ROTATOR_ABORT_MOTION", { ABORT: true }, signal);
    await this.device.untilIdle(property, 20 + 360 / slowestDegreesPerSecond, signal);
  }

  protected override keptSettings(): readonly KeptSetting[] {
    return [
      {
        key: "angle",
        unit: "degrees",
        read: (signal) => this.angleDegrees(signal),
        restore: (value, signal) => this.moveTo(Number(value), signal),
        same: (before, now) => this.#isAt(Number(before), Number(now)),
      },
    ];
  }

  override describe(): Readonly<Record<string, string>> {
    return { angle: "0 to 360 degrees", abort: this.has("ROTATOR_ABORT_MOTION") ? "yes" : "no" };
  }
}
