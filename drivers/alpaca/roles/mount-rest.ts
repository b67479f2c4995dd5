import { DeviceLostError, MissingAbilityError, RefusedError } from "../../kit/errors.ts";
import { parkSecondsMax, type SlewBudget } from "../../roles/slew.ts";
import { AscomError, NotImplementedError } from "../wire/errors.ts";
import { setTracking } from "./mount-rate.ts";
import { type MountReading, type MountTools, readMount } from "./mount-reading.ts";
import { waitUntilStill } from "./mount-slew.ts";

/** Bringing a mount to rest: stopping, parking, unparking. */
export class MountRest {
  /** The protocol shows parking as slewing; only who sent it there knows. */
  #isParking = false;

  constructor(
    readonly tools: MountTools,
    readonly budget: SlewBudget,
  ) {}

  motionOf({ slewing, pulsing }: MountReading): "still" | "slewing" | "parking" | "jogging" {
    if (slewing) return this.#isParking ? "parking" : "slewing";
    return pulsing ? "jogging" : "still";
  }

  /** @throws RefusedError while parked or parking */
  checkMayMove(what: string, now: MountReading): void {
    const { name } = this.tools.device;
    if (now.slewing && this.#isParking) {
      throw new RefusedError(name, `no ${what} while the mount is parking`);
    }
    if (now.parked === true) throw new RefusedError(name, `no ${what} while the mount is parked`);
  }

  /** Parking that is under way is left to end: stopped in its middle the mount has no known place. */
  async bringParkTo(parked: boolean, signal: AbortSignal): Promise<void> {
    const { device, facts } = this.tools;
    const withinSeconds = parkSecondsMax(this.budget);
    if (this.#isParking) await this.#untilNotSlewing("parking", withinSeconds, signal);
    const now = await readMount(this.tools, signal);
    if (now.parked === parked || (now.parked === undefined && !parked)) return;
    if (parked && now.slewing) await this.stop(signal);
    if (!parked && !facts().canUnpark) {
      throw new MissingAbilityError(device.name, "this mount is parked and cannot be unparked from here");
    }
    this.#isParking = parked;
    try {
      await device.put(parked ? "park" : "unpark", {}, signal, { withinSeconds });
      await device.until(
        parked ? "parking" : "unparking",
        { withinSeconds, precisionSeconds: 0.5 },
        async (abort) => {
          const seen = await readMount(this.tools, abort);
          return seen.parked === parked && !seen.slewing ? true : undefined;
        },
        signal,
      );
    } finally {
      // Aborted, it may still be on its way; then the next command waits for it.
      if (!signal.aborted) this.#isParking = false;
    }
  }

  async #untilNotSlewing(what: string, withinSeconds: number, signal: AbortSignal): Promise<void> {
    await this.tools.device.until(
      what,
      { withinSeconds, precisionSeconds: 0.3 },
      async (abort) => {
        const { slewing, pulsing } = await readMount(this.tools, abort);
        return slewing || pulsing ? undefined : true;
      },
      signal,
    );
    this.#isParking = false;
  }

  /**
   * @param known tracking as it was before a motion of our own: then the stop goes out at once, because a mount that
   *   moves must not wait for a reading that hangs
   */
  async stop(signal: AbortSignal, known?: { tracking: boolean }): Promise<void> {
    if (this.#isParking) return this.#untilNotSlewing("parking", parkSecondsMax(this.budget), signal);
    if (known) await this.#abortSlew(signal);
    const before = await readMount(this.tools, signal);
    if (!known && !before.slewing && !before.pulsing) return;
    if (!known && before.slewing) await this.#abortSlew(signal);
    const withinSeconds = 60 + 180 / this.budget.degreesPerSecondMin;
    await this.#untilNotSlewing("the mount's rest", withinSeconds, signal);
    const rests = await waitUntilStill(this.tools, signal);
    // The standard has tracking as it was before the slew; not every mount does.
    const wanted = (known ?? before).tracking;
    if (wanted !== rests.tracking && rests.parked !== true && this.tools.facts().canSetTracking) {
      await setTracking(this.tools, wanted, signal);
    }
  }

  async #abortSlew(signal: AbortSignal): Promise<void> {
    try {
      await this.tools.device.put("abortslew", {}, signal, { urgent: true });
    } catch (error) {
      // Without the command the motion must end by itself; a link that fails shows in the next reading.
      const mayWait = error instanceof NotImplementedError || error instanceof AscomError;
      if (!mayWait && !(error instanceof DeviceLostError)) throw error;
    }
  }
}
