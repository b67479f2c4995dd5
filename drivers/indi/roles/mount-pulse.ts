import { RefusedError } from "../../kit/errors.ts";
import { siderealArcsecPerSecond } from "../../kit/sidereal.ts";
import type { SkyOffset } from "../../roles/mount-sky.ts";
import { limitsOf, numberIn } from "../wire/property.ts";
import type { MountTools } from "./mount-slew.ts";

/** A part of a nudge this small is not worth a pulse [arcsec]. */
const worthArcsec = 0.3;
const onePulseMsMax = 5000;
/** However wrong the rate may be, one pass gives no more than this [s]. */
const givenSecondsMax = 40;

/**
 * Timed guide pulses. The guide rate is nominal and the sign not certain (mounts exist whose north pulses go south on
 * one side of the pier), so what a pass really did corrects the next.
 */
export class GuidePulses {
  /** How far the axis moves per arcsecond asked, with its sign. */
  #northGain = 1;
  #eastGain = 1;

  constructor(readonly tools: MountTools) {}

  get areOffered(): boolean {
    const { device } = this.tools;
    return !!device.property("TELESCOPE_TIMED_GUIDE_NS") && !!device.property("TELESCOPE_TIMED_GUIDE_WE");
  }

  /** @returns how long the pulses for it take [s] */
  secondsFor(by: SkyOffset, cosDec: number): number {
    const north = Math.abs(by.northArcsec) / this.#arcsecPerSecond("NS");
    return Math.max(north, Math.abs(by.eastArcsec) / cosDec / this.#arcsecPerSecond("WE"));
  }

  async give(by: SkyOffset, cosDec: number, signal: AbortSignal): Promise<void> {
    const north = by.northArcsec / this.#northGain;
    const east = by.eastArcsec / cosDec / this.#eastGain;
    await this.#giveOn("NS", north > 0 ? "N" : "S", Math.abs(north), signal);
    await this.#giveOn("WE", east > 0 ? "E" : "W", Math.abs(east), signal);
  }

  learn(asked: SkyOffset, moved: SkyOffset): void {
    this.#northGain = learntGain(this.#northGain, asked.northArcsec, moved.northArcsec);
    this.#eastGain = learntGain(this.#eastGain, asked.eastArcsec, moved.eastArcsec);
  }

  /** Half the sidereal rate where the mount does not say. */
  #arcsecPerSecond(axis: "NS" | "WE"): number {
    const rate = numberIn(this.tools.device.property("GUIDE_RATE"), `GUIDE_RATE_${axis}`);
    return (rate !== undefined && rate > 0.01 && rate <= 2 ? rate : 0.5) * siderealArcsecPerSecond;
  }

  async #giveOn(
    axis: "NS" | "WE",
    way: "N" | "S" | "W" | "E",
    axisArcsec: number,
    signal: AbortSignal,
  ): Promise<void> {
    if (axisArcsec < worthArcsec) return;
    const { device } = this.tools;
    const seconds = Math.min(axisArcsec / this.#arcsecPerSecond(axis), givenSecondsMax);
    const limit = limitsOf(device.property(`TELESCOPE_TIMED_GUIDE_${axis}`), `TIMED_GUIDE_${way}`)?.max;
    const pulseMsMax = Math.min(onePulseMsMax, limit ?? 1000);
    for (let leftMs = Math.round(seconds * 1000); leftMs >= 1; leftMs -= pulseMsMax) {
      await this.#pulse(axis, way, Math.min(leftMs, pulseMsMax), signal);
    }
  }

  /** Pulses end Idle and not Ok. */
  async #pulse(axis: "NS" | "WE", way: string, pulseMs: number, signal: AbortSignal): Promise<void> {
    const { device, clock } = this.tools;
    const property = `TELESCOPE_TIMED_GUIDE_${axis}`;
    const values = Object.fromEntries(
      axis.split("").map((one) => [`TIMED_GUIDE_${one}`, one === way ? pulseMs : 0]),
    );
    const startMs = clock.nowMs();
    const sent = await device.send(property, values, signal);
    const ended = await device.waitFor(
      property,
      (vector) => vector.state !== "Busy",
      { after: sent, withinSeconds: pulseMs / 1000 + 10 },
      signal,
    );
    if (ended.state === "Alert") {
      throw new RefusedError(device.name, `guide pulse refused${ended.message ? `: ${ended.message}` : ""}`);
    }
    // The end is reported up to 0.15 s early, and by some drivers at once.
    await clock.sleep(Math.max(0, (pulseMs - (clock.nowMs() - startMs)) / 1000) + 0.2, signal);
  }
}

/** Only moves large enough to tell sign and size teach anything. */
function learntGain(gain: number, asked: number, moved: number): number {
  const ratio = moved / asked;
  return Math.abs(asked) >= 3 && Math.abs(ratio) >= 0.2 && Math.abs(ratio) <= 5 ? gain * ratio : gain;
}
