import { GuidePulses } from "../../roles/guide-pulses.ts";
import type { SkyOffset } from "../../roles/mount-sky.ts";
import { nudgeMount, type SmallMoves } from "../../roles/nudge.ts";
import type { SlewBudget } from "../../roles/slew.ts";
import { TimedJogs } from "./mount-jog.ts";
import { indiPulseGuider } from "./mount-pulse.ts";
import { isTracking, type MountTools, motionAxes, pulseAxes, trackRateOf } from "./mount-reading.ts";
import { slewAndWait, waitUntilStill } from "./mount-slew.ts";

/** Small moves, by the means that fits their size: guide pulses, timed motion, or a short slew. */
export class Nudger {
  readonly #pulses: GuidePulses;
  readonly #jogs: TimedJogs;

  constructor(
    readonly tools: MountTools,
    readonly budget: SlewBudget,
  ) {
    this.#pulses = new GuidePulses(indiPulseGuider(tools));
    this.#jogs = new TimedJogs(tools);
  }

  get smallMoves(): SmallMoves | undefined {
    const offers = (axes: readonly string[]) => axes.every((axis) => this.tools.device.property(axis));
    return offers(pulseAxes) ? this.#pulses : offers(motionAxes) ? this.#jogs : undefined;
  }

  /** @throws RefusedError if the mount does not track; ReadbackError if it does not get there */
  nudge(by: SkyOffset, signal: AbortSignal): Promise<void> {
    const { device, clock, log } = this.tools;
    const mount = {
      device: device.name,
      clock,
      log,
      isTracking: async () => isTracking(device),
      trackRate: async () => trackRateOf(device),
      untilStill: (abort: AbortSignal) => waitUntilStill(this.tools, abort),
      smallMoves: this.smallMoves,
      canSlew: true,
      budget: this.budget,
      slew: slewAndWait.bind(undefined, this.tools),
    };
    return nudgeMount(mount, by, signal);
  }
}
