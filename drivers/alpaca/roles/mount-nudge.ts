import { startStopwatch } from "../../kit/stopwatch.ts";
import { GuidePulses } from "../../roles/guide-pulses.ts";
import type { SkyOffset } from "../../roles/mount-sky.ts";
import { nudgeMount } from "../../roles/nudge.ts";
import type { SlewBudget } from "../../roles/slew.ts";
import { type MountTools, readMount, readTrackRate } from "./mount-reading.ts";
import { slewAndWait, waitUntilStill } from "./mount-slew.ts";

const direction = { north: 0, south: 1, east: 2, west: 3 } as const;

/** Small moves by guide pulses, longer ones by a short slew. */
export class Nudger {
  readonly #pulses: GuidePulses;

  constructor(
    readonly tools: MountTools,
    readonly budget: SlewBudget,
  ) {
    const { device, clock, facts } = tools;
    this.#pulses = new GuidePulses({
      nominalArcsecPerSecond(axis) {
        const { guideRaDegreesPerSecond, guideDecDegreesPerSecond } = facts();
        const degrees = axis === "ra" ? guideRaDegreesPerSecond : guideDecDegreesPerSecond;
        return degrees && 3600 * degrees;
      },
      async pulse(towards, pulseMs, signal) {
        const elapsedSeconds = startStopwatch(clock);
        await device.put("pulseguide", { Direction: direction[towards], Duration: pulseMs }, signal);
        const gone = elapsedSeconds(); // a mount may answer only at the pulse's end
        const withinSeconds = pulseMs / 1000 + 10;
        const options = { withinSeconds, expectSeconds: pulseMs / 1000 - gone, precisionSeconds: 0.1 };
        await device.untilOff("a guide pulse", "ispulseguiding", options, signal);
      },
    });
  }

  get smallMoves(): GuidePulses | undefined {
    return this.tools.facts().canPulseGuide ? this.#pulses : undefined;
  }

  /** @throws RefusedError if the mount does not track; ReadbackError if it does not get there */
  nudge(by: SkyOffset, signal: AbortSignal): Promise<void> {
    const { device, clock, log, facts } = this.tools;
    const mount = {
      device: device.name,
      clock,
      log,
      isTracking: async (abort: AbortSignal) => (await readMount(this.tools, abort)).tracking,
      trackRate: (abort: AbortSignal) => readTrackRate(this.tools, abort),
      untilStill: async (abort: AbortSignal) => (await waitUntilStill(this.tools, abort)).pointing,
      smallMoves: this.smallMoves,
      canSlew: facts().canSlewAsync || facts().canSlewSync,
      budget: this.budget,
      slew: slewAndWait.bind(undefined, this.tools),
    };
    return nudgeMount(mount, by, signal);
  }
}
