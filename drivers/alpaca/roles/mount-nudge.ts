import { ReadbackError, RefusedError } from "../../kit/errors.ts";
import { siderealArcsecPerSecond } from "../../kit/sidereal.ts";
import type { TrackRate } from "../../roles/mount.ts";
import { lengthArcsec, offsetBy, type SkyOffset, skyOffset } from "../../roles/mount-sky.ts";
import { waitUntil } from "../session/wait-until.ts";
import { flag } from "../wire/values.ts";
import { type MountTools, readMount, readTrackRate } from "./mount-reading.ts";
import { goTo, type SlewBudget, untilStill } from "./mount-slew.ts";

/** Pulses if they take no longer than this, otherwise a slew [s]. At the usual half sidereal rate 150 arcsec. */
const pulseSecondsMax = 20;
/** The longest single pulse: an abort need not wait for more [ms]. */
const pulseMsMax = 5000;
const passesMax = 6;
/** A part of a nudge this small is not worth a command [arcsec]. */
const worthArcsec = 0.3;

const direction = { north: 0, south: 1, east: 2, west: 3 } as const;
type Axis = "ra" | "dec";

/**
 * Small moves by guide pulses, longer ones by a short slew. Each pass is read back and what is left is done in the
 * next: guide rates are only nominal, and mounts exist whose pulses go the other way on one side of the pier.
 */
export class Nudger {
  /** How far each axis really moves per arcsecond asked, with its sign. */
  readonly #gain: Record<Axis, number> = { ra: 1, dec: 1 };

  constructor(
    readonly tools: MountTools,
    readonly budget: SlewBudget,
  ) {}

  get way(): "pulse" | "slew" {
    return this.tools.facts().canPulseGuide ? "pulse" : "slew";
  }

  /** @throws RefusedError if the mount does not track; ReadbackError if it does not get there */
  async nudge(by: SkyOffset, signal: AbortSignal): Promise<void> {
    const { device, clock } = this.tools;
    if (!(await readMount(this.tools, signal)).tracking) {
      throw new RefusedError(device.name, "a nudge needs a mount that tracks");
    }
    const rate = await readTrackRate(this.tools, signal);
    const start = (await untilStill(this.tools, signal)).pointing;
    const startMs = clock.nowMs();
    const toleranceArcsec = Math.max(1.5, 0.02 * lengthArcsec(by));
    let here = start;
    let left = by;
    for (let pass = 0; lengthArcsec(left) > toleranceArcsec; pass++) {
      if (pass === passesMax) {
        throw new ReadbackError(device.name, "nudge", offsetText(by), offsetText(skyOffset(start, here)));
      }
      const cosDec = Math.max(0.05, Math.cos((here.decDegrees * Math.PI) / 180));
      const isPulse = this.#pulsesDo(left, cosDec);
      if (isPulse) await this.#pulse(left, cosDec, signal);
      else await goTo(this.tools, offsetBy(here, left), this.#slewBudget(left), signal);
      const before = here;
      here = (await untilStill(this.tools, signal)).pointing;
      const moved = skyOffset(before, here);
      if (isPulse && lengthArcsec(moved) < 0.2 * lengthArcsec(left) && lengthArcsec(left) > 5) {
        device.server.log.warn(
          { device: device.name },
          "the mount's coordinates do not show its pulses; their nominal size is trusted",
        );
        return;
      }
      if (isPulse) this.#learn(left, moved);
      const drift = driftArcsec(rate, (clock.nowMs() - startMs) / 1000) * cosDec;
      const done = skyOffset(start, here);
      left = {
        eastArcsec: by.eastArcsec - (done.eastArcsec - drift),
        northArcsec: by.northArcsec - done.northArcsec,
      };
    }
    if (!(await readMount(this.tools, signal)).tracking) {
      throw new ReadbackError(device.name, "tracking after a nudge", "on", "off");
    }
  }

  /** A slew must not count as arrived before it has begun. */
  #slewBudget(left: SkyOffset): SlewBudget {
    const toleranceArcsec = Math.min(this.budget.toleranceArcsec, 0.3 * lengthArcsec(left));
    return { ...this.budget, toleranceArcsec };
  }

  #pulsesDo(left: SkyOffset, cosDec: number): boolean {
    if (this.way !== "pulse") return false;
    const { canSlewAsync, canSlewSync } = this.tools.facts();
    if (!canSlewAsync && !canSlewSync) return true;
    const seconds = Math.max(
      Math.abs(left.northArcsec) / this.#arcsecPerSecond("dec"),
      Math.abs(left.eastArcsec) / cosDec / this.#arcsecPerSecond("ra"),
    );
    return seconds <= pulseSecondsMax;
  }

  /** Nominal; half the sidereal rate where the mount does not say, or says nonsense. */
  #arcsecPerSecond(axis: Axis): number {
    const { guideRaDegreesPerSecond, guideDecDegreesPerSecond } = this.tools.facts();
    const arcsec = 3600 * ((axis === "ra" ? guideRaDegreesPerSecond : guideDecDegreesPerSecond) ?? 0);
    const isLikely = arcsec > 0.01 * siderealArcsecPerSecond && arcsec <= 2 * siderealArcsecPerSecond;
    return isLikely ? arcsec : 0.5 * siderealArcsecPerSecond;
  }

  async #pulse(left: SkyOffset, cosDec: number, signal: AbortSignal): Promise<void> {
    const north = left.northArcsec / this.#gain.dec;
    const east = left.eastArcsec / cosDec / this.#gain.ra;
    await this.#pulseAxis("dec", north > 0 ? "north" : "south", Math.abs(north), signal);
    await this.#pulseAxis("ra", east > 0 ? "east" : "west", Math.abs(east), signal);
  }

  async #pulseAxis(
    axis: Axis,
    way: keyof typeof direction,
    arcsec: number,
    signal: AbortSignal,
  ): Promise<void> {
    const { device, clock } = this.tools;
    if (arcsec < worthArcsec) return;
    const seconds = Math.min(arcsec / this.#arcsecPerSecond(axis), 2 * pulseSecondsMax);
    for (let leftMs = Math.round(seconds * 1000); leftMs >= 1; ) {
      const pulseMs = Math.min(leftMs, pulseMsMax);
      leftMs -= pulseMs;
      const startMs = clock.nowMs();
      await device.put("pulseguide", { Direction: direction[way], Duration: pulseMs }, signal);
      const gone = (clock.nowMs() - startMs) / 1000; // a mount may answer only at the pulse's end
      await waitUntil(
        {
          clock,
          device: device.name,
          what: "a guide pulse",
          withinSeconds: pulseMs / 1000 + 10,
          expectSeconds: pulseMs / 1000 - gone,
          precisionSeconds: 0.1,
        },
        async (abort) => ((await device.get("ispulseguiding", flag, abort)) ? undefined : true),
        signal,
      );
    }
  }

  #learn(asked: SkyOffset, moved: SkyOffset): void {
    this.#gain.dec = learntGain(this.#gain.dec, asked.northArcsec, moved.northArcsec);
    this.#gain.ra = learntGain(this.#gain.ra, asked.eastArcsec, moved.eastArcsec);
  }
}

/** Only moves large enough to tell sign and size teach anything. */
function learntGain(gain: number, asked: number, moved: number): number {
  const ratio = moved / asked;
  return Math.abs(asked) >= 3 && Math.abs(ratio) >= 0.2 && Math.abs(ratio) <= 5 ? gain * ratio : gain;
}

/** How far right ascension grows by itself at a tracking rate [arcsec]; the Sun's and the Moon's mean motion. */
function driftArcsec(rate: TrackRate | undefined, seconds: number): number {
  return seconds * (rate === "solar" ? 0.0411 : rate === "lunar" ? 0.549 : 0);
}

function offsetText({ eastArcsec, northArcsec }: SkyOffset): string {
  return `${eastArcsec.toFixed(1)} arcsec east, ${northArcsec.toFixed(1)} arcsec north`;
}
