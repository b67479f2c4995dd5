import { ReadbackError, RefusedError } from "../../kit/errors.ts";
import { startStopwatch } from "../../kit/stopwatch.ts";
import type { Equatorial } from "../../roles/mount.ts";
import { distanceDegrees } from "../../roles/mount-sky.ts";
import { placeText, type SlewBudget } from "../../roles/slew.ts";
import { lookOf, type MountReading, type MountTools, readMount, toMountEquinox } from "./mount-reading.ts";

/** A slew must show itself as such in this time, or have arrived [s]; by the standard it shows at once. */
const beginSeconds = 5;
const settleSeconds = 60;
/** A mount that says that it slews has arrived after so long at its target [s]. */
const arrivedSeconds = 2;

/**
 * One slew of a mount that tracks, to its end.
 * @throws RefusedError, AscomError (limits, parked), ReadbackError (ended elsewhere), DeadlineError
 */
export async function slewAndWait(
  tools: MountTools,
  target: Equatorial,
  budget: SlewBudget,
  signal: AbortSignal,
): Promise<MountReading> {
  const { device, clock, facts } = tools;
  const { canSlewAsync, canSlewSync } = facts();
  if (!canSlewAsync && !canSlewSync) throw new RefusedError(device.name, "this mount does not slew");
  const from = await readMount(tools, signal);
  const withinSeconds = 60 + distanceDegrees(from.pointing, target) / budget.degreesPerSecondMin;
  const { raHours, decDegrees } = toMountEquinox(tools, target);
  const elapsedSeconds = startStopwatch(clock);
  await device.put(
    canSlewAsync ? "slewtocoordinatesasync" : "slewtocoordinates",
    { RightAscension: raHours, Declination: decDegrees },
    signal,
    canSlewAsync ? {} : { withinSeconds },
  );
  const isThere = (seen: MountReading) =>
    distanceDegrees(seen.pointing, target) * 3600 <= budget.toleranceArcsec;
  const isStill = tools.stillness.judge(arrivedSeconds);
  let sawSlewing = false;
  const ended = await device.until(
    "the slew",
    { withinSeconds, precisionSeconds: 0.3 },
    async (abort) => {
      const askedSeconds = elapsedSeconds();
      const seen = await readMount(tools, abort);
      sawSlewing ||= seen.slewing;
      if (seen.slewing) return isThere(seen) && isStill(lookOf(seen)) ? seen : undefined;
      const mayBegin = !sawSlewing && askedSeconds < beginSeconds;
      return mayBegin && !isThere(seen) ? undefined : seen;
    },
    signal,
  );
  if (isThere(ended)) return ended;
  if (!sawSlewing && canSlewAsync) {
    throw new RefusedError(device.name, `no slew began towards ${placeText(target)}`);
  }
  // The end may be told before the coordinates have followed.
  const settled = await waitUntilStill(tools, signal);
  if (isThere(settled)) return settled;
  throw new ReadbackError(device.name, "pointing", placeText(target), placeText(settled.pointing));
}

/** @throws DeadlineError */
export async function waitUntilStill(
  tools: MountTools,
  signal: AbortSignal,
  options: { withinSeconds?: number; surelySeconds?: number } = {},
): Promise<MountReading> {
  const { withinSeconds = settleSeconds, surelySeconds } = options;
  const isStill = tools.stillness.judge(surelySeconds);
  const precisionSeconds = 0.5;
  return tools.device.until(
    "settling",
    { withinSeconds, precisionSeconds },
    async (abort) => {
      const now = await readMount(tools, abort);
      return isStill(lookOf(now)) ? now : undefined;
    },
    signal,
  );
}
