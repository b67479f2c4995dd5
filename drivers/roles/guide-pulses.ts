import { siderealArcsecPerSecond } from "../kit/sidereal.ts";
import type { SkyOffset } from "./mount-sky.ts";
import type { SmallMoves } from "./nudge.ts";

/** Pulses if they take no longer than this, otherwise a slew [s]. At the usual half sidereal rate 150 arcsec. */
const pulseSecondsMax = 20;
/** However wrong the rate may be, one pass gives no more than this [s]. */
const givenSecondsMax = 40;
/** A part of a nudge this small is not worth a pulse [arcsec]. */
const worthArcsec = 0.3;
/** The longest single pulse: an abort need not wait for more [ms]. */
const onePulseMsMax = 5000;

export type PulseDirection = "north" | "south" | "east" | "west";

/** How a mount's protocol pulses. */
export interface PulseGuider {
  /** Nominal rate of an axis [arcsec/s]; `undefined` where the mount does not say. */
  nominalArcsecPerSecond(axis: "ra" | "dec"): number | undefined;
  /** The longest pulse that it takes [ms], if it says. */
  pulseMsMax?(direction: PulseDirection): number;
  /** One pulse, to its end. */
  pulse(direction: PulseDirection, pulseMs: number, signal: AbortSignal): Promise<void>;
}

/**
 * Timed guide pulses. The guide rate is nominal and the sign not certain (mounts exist whose north pulses go south on
 * one side of the pier), so what a pass really did corrects the next.
 */
export class GuidePulses implements SmallMoves {
  readonly kind = "pulse";
  /** How far the axis moves per arcsecond asked, with its sign. */
  #northGain = 1;
  #eastGain = 1;

  constructor(private readonly guider: PulseGuider) {}

  suffice(left: SkyOffset, cosDec: number): boolean {
    const north = Math.abs(left.northArcsec) / this.#arcsecPerSecond("dec");
    const east = Math.abs(left.eastArcsec) / cosDec / this.#arcsecPerSecond("ra");
    return Math.max(north, east) <= pulseSecondsMax;
  }

  async give(left: SkyOffset, cosDec: number, signal: AbortSignal): Promise<void> {
    const north = left.northArcsec / this.#northGain;
    const east = left.eastArcsec / cosDec / this.#eastGain;
    await this.#giveOn("dec", north > 0 ? "north" : "south", Math.abs(north), signal);
    await this.#giveOn("ra", east > 0 ? "east" : "west", Math.abs(east), signal);
  }

  learn(asked: SkyOffset, moved: SkyOffset): void {
    this.#northGain = learntGain(this.#northGain, asked.northArcsec, moved.northArcsec);
    this.#eastGain = learntGain(this.#eastGain, asked.eastArcsec, moved.eastArcsec);
  }

  /** Half the sidereal rate where the mount does not say, or says nonsense. */
  #arcsecPerSecond(axis: "ra" | "dec"): number {
    const rate = (this.guider.nominalArcsecPerSecond(axis) ?? 0) / siderealArcsecPerSecond;
    return (rate > 0.01 && rate <= 2 ? rate : 0.5) * siderealArcsecPerSecond;
  }

  async #giveOn(
    axis: "ra" | "dec",
    direction: PulseDirection,
    arcsec: number,
    signal: AbortSignal,
  ): Promise<void> {
    if (arcsec < worthArcsec) return;
    const seconds = Math.min(arcsec / this.#arcsecPerSecond(axis), givenSecondsMax);
    const pulseMsMax = Math.min(onePulseMsMax, this.guider.pulseMsMax?.(direction) ?? onePulseMsMax);
    for (let leftMs = Math.round(seconds * 1000); leftMs >= 1; leftMs -= pulseMsMax) {
      await this.guider.pulse(direction, Math.min(leftMs, pulseMsMax), signal);
    }
  }
}

/** Only moves large enough to tell sign and size teach anything. */
function learntGain(gain: number, asked: number, moved: number): number {
  const ratio = moved / asked;
  return Math.abs(asked) >= 3 && Math.abs(ratio) >= 0.2 && Math.abs(ratio) <= 5 ? gain * ratio : gain;
}
