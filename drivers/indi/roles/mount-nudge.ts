import type { Equatorial } from "../../roles/mount.ts";
import { lengthArcsec, offsetBy, type SkyOffset } from "../../roles/mount-sky.ts";
import { type NudgedMount, type NudgeWay, nudgeMount, pulseSecondsMax } from "../../roles/nudge.ts";
import { TimedJogs } from "./mount-jog.ts";
import { GuidePulses } from "./mount-pulse.ts";
import { isTracking, trackRateOf } from "./mount-reading.ts";
import { type MountTools, type SlewBudget, slewAndWait, waitUntilStill } from "./mount-slew.ts";

/** Timed motion up to here where there are no pulses, otherwise a slew [arcsec]. */
const jogArcsecMax = 300;

/** Small moves, by the means that fits their size: guide pulses, timed motion, or a short slew. */
export class Nudger {
  readonly #pulses: GuidePulses;
  readonly #jogs: TimedJogs;

  constructor(
    readonly tools: MountTools,
    readonly budget: SlewBudget,
  ) {
    this.#pulses = new GuidePulses(tools);
    this.#jogs = new TimedJogs(tools);
  }

  /** What small nudges are done with. */
  get way(): NudgeWay {
    return this.#pulses.areOffered ? "pulse" : this.#jogs.areOffered ? "motion" : "slew";
  }

  /** @throws RefusedError if the mount does not track; ReadbackError if it does not get there */
  nudge(by: SkyOffset, signal: AbortSignal): Promise<void> {
    const { device, clock, log } = this.tools;
    const mount: NudgedMount = {
      device: device.name,
      clock,
      log,
      isTracking: async () => isTracking(device),
      trackRate: async () => trackRateOf(device),
      untilStill: (abort) => waitUntilStill(this.tools, abort),
      wayFor: (left, cosDec) => this.#wayFor(left, cosDec),
      move: (...given) => this.#move(...given),
      learn: (way, asked, moved) => {
        if (way === "pulse") this.#pulses.learn(asked, moved);
        else if (way === "motion") this.#jogs.learn(moved);
      },
    };
    return nudgeMount(mount, by, signal);
  }

  async #move(
    way: NudgeWay,
    from: Equatorial,
    left: SkyOffset,
    cosDec: number,
    slewToleranceArcsec: number,
    signal: AbortSignal,
  ): Promise<void> {
    if (way === "pulse") return await this.#pulses.give(left, cosDec, signal);
    if (way === "motion") return await this.#jogs.give(left, signal);
    const toleranceArcsec = Math.min(this.budget.toleranceArcsec, slewToleranceArcsec);
    await slewAndWait(this.tools, offsetBy(from, left), { ...this.budget, toleranceArcsec }, signal);
  }

  #wayFor(left: SkyOffset, cosDec: number): NudgeWay {
    const { way } = this;
    if (way === "pulse") return this.#pulses.secondsFor(left, cosDec) <= pulseSecondsMax ? "pulse" : "slew";
    return way === "motion" && lengthArcsec(left) <= jogArcsecMax ? "motion" : "slew";
  }
}
