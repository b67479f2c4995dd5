import { ReadbackError, RefusedError } from "../../kit/errors.ts";
import { lengthArcsec, offsetBy, type SkyOffset, skyOffset } from "../../roles/mount-sky.ts";
import { TimedJogs } from "./mount-jog.ts";
import { GuidePulses } from "./mount-pulse.ts";
import { isTracking, trackRateOf } from "./mount-reading.ts";
import { goTo, type MountTools, type SlewBudget, untilStill } from "./mount-slew.ts";

/** Pulses if they take no longer than this, otherwise a slew [s]. At the usual half sidereal rate 150 arcsec. */
const pulseSecondsMax = 20;
/** Timed motion up to here where there are no pulses, otherwise a slew [arcsec]. */
const jogArcsecMax = 300;
const passesMax = 6;

export type NudgeWay = "pulse" | "motion" | "slew";

/**
 * Small moves, by the means that fits their size. Each pass is read back and what is left is done in the next: guide
 * rates are only nominal, and a slew ends a little off.
 */
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
  async nudge(by: SkyOffset, signal: AbortSignal): Promise<void> {
    const { device, clock, log } = this.tools;
    if (!isTracking(device)) throw new RefusedError(device.name, "a nudge needs a mount that tracks");
    const start = await untilStill(this.tools, signal);
    const startMs = clock.nowMs();
    const toleranceArcsec = Math.max(1.5, 0.02 * lengthArcsec(by));
    let here = start;
    let left = by;
    for (let pass = 0; lengthArcsec(left) > toleranceArcsec; pass++) {
      if (pass === passesMax) {
        throw new ReadbackError(device.name, "nudge", offsetText(by), offsetText(skyOffset(start, here)));
      }
      const cosDec = Math.max(0.05, Math.cos((here.decDegrees * Math.PI) / 180));
      const way = this.#wayFor(left, cosDec);
      if (way === "slew") await goTo(this.tools, offsetBy(here, left), this.#slewBudget(left), signal);
      else if (way === "pulse") await this.#pulses.give(left, cosDec, signal);
      else await this.#jogs.give(left, signal);
      const before = here;
      here = await untilStill(this.tools, signal);
      const moved = skyOffset(before, here);
      if (way === "pulse" && lengthArcsec(left) > 5 && lengthArcsec(moved) < 0.2 * lengthArcsec(left)) {
        log.warn({ device: device.name }, "the mount's coordinates do not show its pulses; they are trusted");
        break;
      }
      if (way === "pulse") this.#pulses.learn(left, moved);
      else if (way === "motion") this.#jogs.learn(moved);
      const done = skyOffset(start, here);
      const drift = this.#driftArcsec((clock.nowMs() - startMs) / 1000) * cosDec;
      left = {
        eastArcsec: by.eastArcsec - (done.eastArcsec - drift),
        northArcsec: by.northArcsec - done.northArcsec,
      };
    }
    if (!isTracking(device)) throw new ReadbackError(device.name, "tracking after a nudge", "on", "off");
  }

  /** A goto must not count as arrived before it has begun. */
  #slewBudget(left: SkyOffset): SlewBudget {
    const toleranceArcsec = Math.min(this.budget.toleranceArcsec, 0.3 * lengthArcsec(left));
    return { ...this.budget, toleranceArcsec };
  }

  #wayFor(left: SkyOffset, cosDec: number): NudgeWay {
    const { way } = this;
    if (way === "pulse") return this.#pulses.secondsFor(left, cosDec) <= pulseSecondsMax ? "pulse" : "slew";
    return way === "motion" && lengthArcsec(left) <= jogArcsecMax ? "motion" : "slew";
  }

  /** How far right ascension grows by itself at this tracking rate [arcsec]; the Sun's and the Moon's mean motion. */
  #driftArcsec(seconds: number): number {
    const rate = trackRateOf(this.tools.device);
    return seconds * (rate === "solar" ? 0.0411 : rate === "lunar" ? 0.549 : 0);
  }
}

function offsetText({ eastArcsec, northArcsec }: SkyOffset): string {
  return `${eastArcsec.toFixed(1)} arcsec east, ${northArcsec.toFixed(1)} arcsec north`;
}
