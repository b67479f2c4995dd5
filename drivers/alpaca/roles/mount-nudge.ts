import { siderealArcsecPerSecond } from "../../kit/sidereal.ts";
import { offsetBy, type SkyOffset } from "../../roles/mount-sky.ts";
import { type NudgedMount, nudgeMount, pulseSecondsMax } from "../../roles/nudge.ts";
import { waitUntil } from "../session/wait-until.ts";
import { flag } from "../wire/values.ts";
import { type MountTools, readMount, readTrackRate } from "./mount-reading.ts";
import { type SlewBudget, slewAndWait, waitUntilStill } from "./mount-slew.ts";

/** The longest single pulse: an abort need not wait for more [ms]. */
const pulseMsMax = 5000;
/** A part of a nudge this small is not worth a command [arcsec]. */
const worthArcsec = 0.3;

const direction = { north: 0, south: 1, east: 2, west: 3 } as const;
type Axis = "ra" | "dec";

/** Small moves by guide pulses, longer ones by a short slew. */
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
  nudge(by: SkyOffset, signal: AbortSignal): Promise<void> {
    const { device, clock } = this.tools;
    const mount: NudgedMount = {
      device: device.name,
      clock,
      log: device.server.log,
      isTracking: async (abort) => (await readMount(this.tools, abort)).tracking,
      trackRate: (abort) => readTrackRate(this.tools, abort),
      untilStill: async (abort) => (await waitUntilStill(this.tools, abort)).pointing,
      wayFor: (left, cosDec) => (this.#pulsesDo(left, cosDec) ? "pulse" : "slew"),
      move: async (way, from, left, cosDec, slewToleranceArcsec, abort) => {
        if (way === "pulse") return await this.#pulse(left, cosDec, abort);
        const toleranceArcsec = Math.min(this.budget.toleranceArcsec, slewToleranceArcsec);
        await slewAndWait(this.tools, offsetBy(from, left), { ...this.budget, toleranceArcsec }, abort);
      },
      learn: (way, asked, moved) => {
        if (way === "pulse") this.#learn(asked, moved);
      },
    };
    return nudgeMount(mount, by, signal);
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
