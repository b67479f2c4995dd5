import { ReadbackError, RefusedError } from "../kit/errors.ts";
import { siderealArcsecPerSecond } from "../kit/sidereal.ts";
import { lengthArcsec, offsetBy, type SkyOffset, skyOffset } from "../roles/mount-sky.ts";
import type { IndiDevice } from "./device.ts";
import { isTracking, trackRateOf } from "./mount-reading.ts";
import { goTo, type MountTools, type SlewBudget, untilStill } from "./mount-slew.ts";
import { limitsOf, numberIn } from "./property.ts";

/** Pulses if they take no longer than this, otherwise a slew [s]. At the usual half sidereal rate 150 arcsec. */
const pulseSecondsMax = 20;
/** Timed motion up to here where there are no pulses, otherwise a slew [arcsec]. */
const jogArcsecMax = 300;
const passesMax = 6;
/** A part of a nudge this small is not worth a command [arcsec]. */
const worthArcsec = 0.3;

export type NudgeWay = "pulse" | "motion" | "slew";

/** What was learnt of one axis: how far it really moves per arcsecond asked, with its sign, and per second of jog. */
interface AxisKnowledge {
  pulseGain: number;
  jogArcsecPerSecond: number | undefined;
}

/**
 * Small moves. Each pass is read back and what is left is done in the next: guide rates are only nominal, a slew ends
 * a little off, and mounts exist whose north pulses go south (they pick the pulse's sign by pier side).
 */
export class Nudger {
  readonly #axes: { ns: AxisKnowledge; we: AxisKnowledge } = {
    ns: { pulseGain: 1, jogArcsecPerSecond: undefined },
    we: { pulseGain: 1, jogArcsecPerSecond: undefined },
  };

  constructor(
    readonly tools: MountTools,
    readonly budget: SlewBudget,
  ) {}

  get way(): NudgeWay {
    const { device } = this.tools;
    if (device.property("TELESCOPE_TIMED_GUIDE_NS") && device.property("TELESCOPE_TIMED_GUIDE_WE"))
      return "pulse";
    if (device.property("TELESCOPE_MOTION_NS") && device.property("TELESCOPE_MOTION_WE")) return "motion";
    return "slew";
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
      else if (way === "pulse") await this.#pulse(left, cosDec, signal);
      else await this.#jog(left, cosDec, signal);
      const before = here;
      here = await untilStill(this.tools, signal);
      const moved = skyOffset(before, here);
      if (way === "pulse" && lengthArcsec(moved) < 0.2 * lengthArcsec(left) && lengthArcsec(left) > 5) {
        log.warn(
          { device: device.name },
          "the mount's coordinates do not show its pulses; their nominal size is trusted",
        );
        return;
      }
      if (way !== "slew") this.#learn(way, left, moved);
      const drift = this.#driftArcsec((clock.nowMs() - startMs) / 1000) * cosDec;
      const done = skyOffset(start, here);
      left = {
        eastArcsec: by.eastArcsec - (done.eastArcsec - drift),
        northArcsec: by.northArcsec - done.northArcsec,
      };
    }
    if (!isTracking(device)) throw new ReadbackError(device.name, "tracking after a nudge", "on", "off");
  }

  /** A goto must not count as arrived before it has begun. */
  #slewBudget(left: SkyOffset): SlewBudget {
    return {
      ...this.budget,
      toleranceArcsec: Math.min(this.budget.toleranceArcsec, 0.3 * lengthArcsec(left)),
    };
  }

  #wayFor(left: SkyOffset, cosDec: number): NudgeWay {
    const way = this.way;
    if (way === "pulse") {
      const seconds = Math.max(
        Math.abs(left.northArcsec) / this.#guideArcsecPerSecond("NS"),
        Math.abs(left.eastArcsec) / cosDec / this.#guideArcsecPerSecond("WE"),
      );
      return seconds <= pulseSecondsMax ? "pulse" : "slew";
    }
    return way === "motion" && lengthArcsec(left) <= jogArcsecMax ? "motion" : "slew";
  }

  /** Nominal; half the sidereal rate where the mount does not say. */
  #guideArcsecPerSecond(axis: "NS" | "WE"): number {
    const rate = numberIn(this.tools.device.property("GUIDE_RATE"), `GUIDE_RATE_${axis}`);
    return (rate !== undefined && rate > 0.01 && rate <= 2 ? rate : 0.5) * siderealArcsecPerSecond;
  }

  async #pulse(left: SkyOffset, cosDec: number, signal: AbortSignal): Promise<void> {
    const north = left.northArcsec / this.#axes.ns.pulseGain;
    const east = left.eastArcsec / this.#axes.we.pulseGain;
    await this.#pulseAxis(
      "NS",
      north > 0 ? "N" : "S",
      Math.abs(north) / this.#guideArcsecPerSecond("NS"),
      signal,
    );
    await this.#pulseAxis(
      "WE",
      east > 0 ? "E" : "W",
      Math.abs(east) / cosDec / this.#guideArcsecPerSecond("WE"),
      signal,
    );
  }

  async #pulseAxis(
    axis: "NS" | "WE",
    way: "N" | "S" | "W" | "E",
    seconds: number,
    signal: AbortSignal,
  ): Promise<void> {
    const { device, clock } = this.tools;
    if (seconds * this.#guideArcsecPerSecond(axis) < worthArcsec) return;
    const property = `TELESCOPE_TIMED_GUIDE_${axis}`;
    const pulseMsMax = Math.min(5000, limitsOf(device.property(property), `TIMED_GUIDE_${way}`)?.max ?? 1000);
    for (let leftMs = Math.round(Math.min(seconds, 2 * pulseSecondsMax) * 1000); leftMs >= 1; ) {
      const pulseMs = Math.min(leftMs, pulseMsMax);
      leftMs -= pulseMs;
      const values = Object.fromEntries(
        [...axis].map((one) => [`TIMED_GUIDE_${one}`, one === way ? pulseMs : 0]),
      );
      const startMs = clock.nowMs();
      const sent = await device.send(property, values, signal);
      const ended = await device.waitFor(
        property,
        (vector) => vector.state !== "Busy",
        { after: sent, withinSeconds: pulseMs / 1000 + 10 },
        signal,
      );
      if (ended.state === "Alert")
        throw new RefusedError(
          device.name,
          `guide pulse refused${ended.message ? `: ${ended.message}` : ""}`,
        );
      // The end is reported up to 0.15 s early, and by some drivers at once.
      await clock.sleep(Math.max(0, pulseMs / 1000 - (clock.nowMs() - startMs) / 1000) + 0.2, signal);
    }
  }

  async #jog(left: SkyOffset, cosDec: number, signal: AbortSignal): Promise<void> {
    const { device } = this.tools;
    const slowest = [...(device.property("TELESCOPE_SLEW_RATE")?.elements.keys() ?? [])][0];
    if (slowest !== undefined) {
      await device.change(
        "TELESCOPE_SLEW_RATE",
        { [slowest]: true },
        { withinSeconds: 10, finalStates: ["Ok", "Idle"] },
        signal,
      );
    }
    await this.#jogAxis("NS", left.northArcsec, signal);
    await this.#jogAxis("WE", left.eastArcsec / cosDec, signal);
  }

  #jogSeconds(arcsec: number, rate: number | undefined): number {
    // The first jog is a short one that measures.
    return rate === undefined ? 0.3 : Math.min(20, Math.abs(arcsec / rate));
  }

  async #jogAxis(axis: "NS" | "WE", arcsec: number, signal: AbortSignal): Promise<void> {
    if (Math.abs(arcsec) < 1) return;
    const { device, clock } = this.tools;
    const knowledge = axis === "NS" ? this.#axes.ns : this.#axes.we;
    const seconds = this.#jogSeconds(arcsec, knowledge.jogArcsecPerSecond);
    const forward = arcsec > 0 === (knowledge.jogArcsecPerSecond ?? 1) > 0;
    const element =
      axis === "NS" ? (forward ? "MOTION_NORTH" : "MOTION_SOUTH") : forward ? "MOTION_EAST" : "MOTION_WEST";
    const property = `TELESCOPE_MOTION_${axis}`;
    try {
      const sent = await device.send(property, { [element]: true }, signal);
      const begun = await device.waitFor(
        property,
        (v) => !v.awaitingAnswer,
        { after: sent, withinSeconds: 5 },
        signal,
      );
      if (begun.state === "Alert") throw new RefusedError(device.name, "motion refused");
      await clock.sleep(seconds, signal);
    } finally {
      await endJog(device, property);
    }
    this.#lastJog = { ...this.#lastJog, [axis]: forward ? seconds : -seconds };
  }

  #lastJog: { NS?: number; WE?: number } = {};

  #learn(way: "pulse" | "motion", asked: SkyOffset, moved: SkyOffset): void {
    if (way === "pulse") {
      this.#axes.ns.pulseGain = learntGain(this.#axes.ns.pulseGain, asked.northArcsec, moved.northArcsec);
      this.#axes.we.pulseGain = learntGain(this.#axes.we.pulseGain, asked.eastArcsec, moved.eastArcsec);
      return;
    }
    const { NS, WE } = this.#lastJog;
    if (NS && Math.abs(moved.northArcsec) > 1) this.#axes.ns.jogArcsecPerSecond = moved.northArcsec / NS;
    if (WE && Math.abs(moved.eastArcsec) > 1) this.#axes.we.jogArcsecPerSecond = moved.eastArcsec / WE;
    this.#lastJog = {};
  }

  /** How far right ascension grows by itself at this tracking rate [arcsec]; the Sun's and the Moon's mean motion. */
  #driftArcsec(seconds: number): number {
    const rate = trackRateOf(this.tools.device);
    return seconds * (rate === "solar" ? 0.0411 : rate === "lunar" ? 0.549 : 0);
  }
}

/** Both switches off, whatever happened; with a budget of its own. */
export async function endJog(device: IndiDevice, property: string): Promise<void> {
  const elements = [...(device.property(property)?.elements.keys() ?? [])];
  await device.change(
    property,
    Object.fromEntries(elements.map((element) => [element, false])),
    { withinSeconds: 10, finalStates: ["Idle", "Ok"], errorMessages: "ignore" },
    new AbortController().signal,
  );
}

/** Only moves large enough to tell sign and size teach anything. */
function learntGain(gain: number, asked: number, moved: number): number {
  const ratio = moved / asked;
  return Math.abs(asked) >= 3 && Math.abs(ratio) >= 0.2 && Math.abs(ratio) <= 5 ? gain * ratio : gain;
}

function offsetText({ eastArcsec, northArcsec }: SkyOffset): string {
  return `${eastArcsec.toFixed(1)} arcsec east, ${northArcsec.toFixed(1)} arcsec north`;
}
