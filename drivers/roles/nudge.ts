import type { Clock } from "../kit/clock.ts";
import { ReadbackError, RefusedError } from "../kit/errors.ts";
import type { Log } from "../kit/log.ts";
import { startStopwatch } from "../kit/stopwatch.ts";
import type { Equatorial, TrackRate } from "./mount.ts";
import { lengthArcsec, offsetBy, type SkyOffset, skyOffset } from "./mount-sky.ts";
import type { SlewBudget } from "./slew.ts";

const passesMax = 6;
/** What is left of a nudge is at most twice as much, by pulses that go the wrong way; beyond this the report has jumped. */
const farTimes = 4;
const farArcsecLeast = 600;

/** Moves too small for a slew. */
export interface SmallMoves {
  readonly kind: "pulse" | "motion";
  /** Whether they do it in less time than a slew. */
  suffice(left: SkyOffset, cosDec: number): boolean;
  give(left: SkyOffset, cosDec: number, signal: AbortSignal): Promise<void>;
  /** How far it really went for what it was asked. */
  learn(asked: SkyOffset, moved: SkyOffset): void;
}

/** What a mount can do towards a nudge. */
export interface NudgedMount {
  readonly device: string;
  readonly clock: Clock;
  readonly log: Log;
  isTracking(signal: AbortSignal): Promise<boolean>;
  trackRate(signal: AbortSignal): Promise<TrackRate | undefined>;
  /** @returns where it points once it is still */
  untilStill(signal: AbortSignal): Promise<Equatorial>;
  readonly smallMoves: SmallMoves | undefined;
  readonly canSlew: boolean;
  readonly budget: SlewBudget;
  slew(target: Equatorial, budget: SlewBudget, signal: AbortSignal): Promise<unknown>;
}

/**
 * Moves a tracking mount by a small amount. Each pass is read back and what is left is done in the next: guide rates
 * are only nominal, slews end a little off, and mounts exist whose pulses go the other way on one side of the pier.
 * @throws RefusedError if the mount does not track; ReadbackError if it does not get there
 */
export async function nudgeMount(mount: NudgedMount, by: SkyOffset, signal: AbortSignal): Promise<void> {
  const { device, clock, log, smallMoves, budget } = mount;
  if (!(await mount.isTracking(signal))) throw new RefusedError(device, "a nudge needs a mount that tracks");
  const rate = await mount.trackRate(signal);
  const start = await mount.untilStill(signal);
  const elapsedSeconds = startStopwatch(clock);
  const toleranceArcsec = Math.max(1.5, 0.02 * lengthArcsec(by));
  let here = start;
  let left = by;
  for (let pass = 0; lengthArcsec(left) > toleranceArcsec; pass++) {
    if (pass === passesMax)
      throw new ReadbackError(device, "nudge", offsetText(by), offsetText(skyOffset(start, here)));
    const leftArcsec = lengthArcsec(left);
    const cosDec = Math.max(0.05, Math.cos((here.decDegrees * Math.PI) / 180));
    const moves = !mount.canSlew || smallMoves?.suffice(left, cosDec) ? smallMoves : undefined;
    if (moves) {
      await moves.give(left, cosDec, signal);
    } else {
      // A slew must not count as arrived before it has begun.
      const nearArcsec = Math.min(budget.toleranceArcsec, 0.3 * leftArcsec);
      await mount.slew(offsetBy(here, left), { ...budget, toleranceArcsec: nearArcsec }, signal);
    }
    const before = here;
    here = await mount.untilStill(signal);
    const moved = skyOffset(before, here);
    if (moves?.kind === "pulse" && leftArcsec > 5 && lengthArcsec(moved) < 0.2 * leftArcsec) {
      log.warn({ device }, "the mount's coordinates do not show its pulses; they are trusted");
      break;
    }
    moves?.learn(left, moved);
    const done = skyOffset(start, here);
    const driftArcsec = driftArcsecPerSecond(rate) * elapsedSeconds() * cosDec;
    left = {
      eastArcsec: by.eastArcsec - (done.eastArcsec - driftArcsec),
      northArcsec: by.northArcsec - done.northArcsec,
    };
    // Never followed: a mount that has lost its count would carry the telescope as far the other way.
    if (lengthArcsec(left) > Math.max(farTimes * lengthArcsec(by), farArcsecLeast))
      throw new ReadbackError(device, "nudge", offsetText(by), offsetText(done));
  }
  if (!(await mount.isTracking(signal)))
    throw new ReadbackError(device, "tracking after a nudge", "on", "off");
}

/** How fast right ascension grows by itself at a tracking rate; the Sun's and the Moon's mean motion. */
function driftArcsecPerSecond(rate: TrackRate | undefined): number {
  return rate === "solar" ? 0.0411 : rate === "lunar" ? 0.549 : 0;
}

function offsetText({ eastArcsec, northArcsec }: SkyOffset): string {
  return `${eastArcsec.toFixed(1)} arcsec east, ${northArcsec.toFixed(1)} arcsec north`;
}
