import { DeviceLostError, MissingAbilityError, RefusedError } from "../../kit/errors.ts";
import { parkSecondsMax, type SlewBudget } from "../../roles/slew.ts";
import { AscomError, NotImplementedError } from "../wire/errors.ts";
import { setTracking } from "./mount-rate.ts";
import { lookOf, type MountReading, type MountTools, readMount } from "./mount-reading.ts";
import { waitUntilStill } from "./mount-slew.ts";

/** Parking may stand for a while between two motions [s]. */
const parkingRestSeconds = 15;

/** Bringing a mount to rest: stopping, parking, unparking. */
export class MountRest {
  /** The protocol shows parking as slewing; only who sent it there knows. */
  #isParking = false;

  constructor(
    readonly tools: MountTools,
    readonly budget: SlewBudget,
  ) {}

  motionOf(seen: MountReading): "still" | "slewing" | "parking" | "jogging" {
    if (this.isAtRest(seen)) return "still";
    if (seen.slewing) return this.#isParking ? "parking" : "slewing";
    return "jogging";
  }

  isAtRest(seen: MountReading): boolean {
    return this.tools.stillness.isAtRest(lookOf(seen));
  }

  /** @throws RefusedError while parked or parking */
  checkMayMove(what: string, now: MountReading): void {
    const { name } = this.tools.device;
    if (this.motionOf(now) === "parking") {
      throw new RefusedError(name, `no ${what} while the mount is parking`);
    }
    if (now.parked === true) throw new RefusedError(name, `no ${what} while the mount is parked`);
  }

  /** Parking that is under way is left to end: stopped in its middle the mount has no known place. */
  async bringParkTo(parked: boolean, signal: AbortSignal): Promise<void> {
    const { device, facts } = this.tools;
    const withinSeconds = parkSecondsMax(this.budget);
    if (this.#isParking) await this.#untilParkingEnds(signal);
    const now = await readMount(this.tools, signal);
    if (now.parked === parked || (now.parked === undefined && !parked)) return;
    if (parked && !this.isAtRest(now)) await this.stop(signal);
    if (!parked && !facts().canUnpark) {
      throw new MissingAbilityError(device.name, "this mount is parked and cannot be unparked from here");
    }
    this.#isParking = parked;
    const isStill = this.tools.stillness.judge();
    try {
      await device.put(parked ? "park" : "unpark", {}, signal, { withinSeconds });
      await device.until(
        parked ? "parking" : "unparking",
        { withinSeconds, precisionSeconds: 0.5 },
        async (abort) => {
          const seen = await readMount(this.tools, abort);
          if (seen.parked !== parked) return undefined;
          return !seen.slewing || isStill(lookOf(seen)) ? true : undefined;
        },
        signal,
      );
    } finally {
      // Aborted, it may still be on its way; then the next command waits for it.
      if (!signal.aborted) this.#isParking = false;
    }
  }

  async #untilParkingEnds(signal: AbortSignal): Promise<void> {
    const options = { withinSeconds: parkSecondsMax(this.budget), surelySeconds: parkingRestSeconds };
    await waitUntilStill(this.tools, signal, options);
    this.#isParking = false;
  }

  /**
   * @param known tracking as it was before a motion of our own: then the stop goes out at once, because a mount that
   *   moves must not wait for a reading that hangs
   */
  async stop(signal: AbortSignal, known?: { tracking: boolean }): Promise<void> {
    if (this.#isParking) return this.#untilParkingEnds(signal);
    if (known) await this.#abortSlew(signal);
    const before = await readMount(this.tools, signal);
    if (!known && this.isAtRest(before)) return;
    if (!known && before.slewing) await this.#abortSlew(signal);
    const withinSeconds = 60 + 180 / this.budget.degreesPerSecondMin; // without an abort command the slew must end
    const rests = await waitUntilStill(this.tools, signal, { withinSeconds });
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
