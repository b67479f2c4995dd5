import { turnDegrees, wrapDegrees } from "../../kit/angles.ts";
import { OutOfLimitsError, ReadbackError } from "../../kit/errors.ts";
import type { KeptSetting } from "../../roles/kept-settings.ts";
import type { Rotator } from "../../roles/rotator.ts";
import { AlpacaRole } from "../session/alpaca-role.ts";
import { flag, number } from "../wire/values.ts";

/** Slowest turning that a deadline allows for [degrees/s]. */
const slowestDegreesPerSecond = 0.5;
const turnSecondsMax = 20 + 360 / slowestDegreesPerSecond;
/** Steps of real rotators are coarser than numbers [degrees]. */
const toleranceDegrees = 0.3;

/** By the sky angle, which a sync may have set apart from the mechanical one. */
export class AlpacaRotator extends AlpacaRole implements Rotator {
  override readonly role = "rotator";
  #stepDegrees: number | undefined;

  protected override async readFacts(signal: AbortSignal): Promise<void> {
    this.#stepDegrees = await this.device.optional("stepsize", number, signal);
  }

  protected override ping(signal: AbortSignal): Promise<boolean> {
    return this.device.probe("ismoving", flag, signal);
  }

  angleDegrees(signal: AbortSignal): Promise<number> {
    return this.recovering(() => this.#angle(signal), signal);
  }

  async #angle(signal: AbortSignal): Promise<number> {
    return wrapDegrees(await this.device.get("position", number, signal));
  }

  /** Only absolute moves are used: a relative one that was sent twice turns twice. */
  async moveTo(angleDegrees: number, signal: AbortSignal): Promise<void> {
    if (!Number.isFinite(angleDegrees)) {
      throw new OutOfLimitsError(this.name, "rotator angle", angleDegrees, "a finite angle in degrees");
    }
    const target = wrapDegrees(angleDegrees);
    await this.moveOrStop(
      () => this.#bringTo(target, signal),
      (own) => this.#stop(own),
      signal,
    );
  }

  async #bringTo(target: number, signal: AbortSignal): Promise<void> {
    await this.#stop(signal);
    // Angles may travel in single precision.
    if (Math.abs(turnDegrees(await this.#angle(signal), target)) < 1e-3) return;
    await this.device.put("moveabsolute", { Position: target }, signal, { withinSeconds: turnSecondsMax });
    await this.#untilStill(signal);
    const reached = await this.#angle(signal);
    if (!isNear(reached, target)) throw new ReadbackError(this.name, "angle", target, reached);
  }

  async #untilStill(signal: AbortSignal): Promise<void> {
    const options = { withinSeconds: turnSecondsMax };
    await this.device.untilOff("the rotator's turning", "ismoving", options, signal);
  }

  async ensureStopped(signal: AbortSignal): Promise<void> {
    await this.recovering(() => this.#stop(signal), signal);
  }

  /** Without a halt the turn in hand is waited for. */
  async #stop(signal: AbortSignal): Promise<void> {
    if (!(await this.device.get("ismoving", flag, signal))) return;
    await this.device.halt(signal);
    await this.#untilStill(signal);
  }

  protected override keptSettings(): readonly KeptSetting[] {
    return [
      {
        key: "angle",
        unit: "degrees",
        read: (signal) => this.#angle(signal),
        restore: (value, signal) => this.moveTo(Number(value), signal),
        same: (before, now) => isNear(Number(before), Number(now)),
      },
    ];
  }

  override describe(): Readonly<Record<string, string>> {
    const step = this.#stepDegrees;
    return { angle: `0 to 360 degrees${step === undefined ? "" : ` in steps of ${step}`}` };
  }
}

function isNear(angle: number, target: number): boolean {
  return Math.abs(turnDegrees(angle, target)) <= toleranceDegrees;
}
