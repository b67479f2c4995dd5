import type { Clock } from "../../../drivers/kit/clock.ts";
import { withDeadline } from "../../../drivers/kit/deadline.ts";
import { DeviceError } from "../../../drivers/kit/errors.ts";
import { startStopwatch } from "../../../drivers/kit/stopwatch.ts";

/** One thing that must stay true while the rig looks at the Sun. */
export interface GuardWatch {
  readonly name: string;
  /** How often it is looked at. */
  readonly everySeconds: number;
  /** How long it may be untrue before the rig retreats; 0: at once. */
  readonly graceSeconds: number;
  /** Whether, once it is lost, nothing may be left open to the sky at the end. */
  readonly ofWeather?: true;
  /** @returns why it is not true now, `undefined` when all is well; what it throws counts as a reason too */
  check(signal: AbortSignal): Promise<string | undefined>;
}

/** A check that gives no answer by then is itself a reason [s]. */
const checkSecondsMax = 20;

export interface GuardTools {
  readonly clock: Clock;
  readonly signal: AbortSignal;
}

/**
 * Watches until the signal aborts. Calls back once for every condition that stays broken beyond its grace,
 * and goes on watching the others.
 */
export async function watchConditions(
  watches: readonly GuardWatch[],
  { clock, signal }: GuardTools,
  onLost: (reason: string, watch: GuardWatch) => void,
): Promise<void> {
  const keepWatch = async (watch: GuardWatch) => {
    let badSinceSeconds: number | undefined;
    while (!signal.aborted) {
      const reason = await reasonNow(watch, { clock, signal });
      if (signal.aborted) return;
      badSinceSeconds = reason === undefined ? undefined : (badSinceSeconds ?? clock.monotonicSeconds());
      if (reason !== undefined && clock.monotonicSeconds() - badSinceSeconds! >= watch.graceSeconds)
        return onLost(reason, watch);
      await clock.sleep(watch.everySeconds, signal).catch(() => {});
    }
  };
  await Promise.all(watches.map(keepWatch));
}

/**
 * One look at all conditions before anything moves. A condition with a grace time gets that long to become true:
 * a station may need a minute for its first report.
 * @returns the reasons that remain
 */
export async function checkConditionsOnce(
  watches: readonly GuardWatch[],
  tools: GuardTools,
): Promise<readonly string[]> {
  const reasons = await Promise.all(watches.map((watch) => untilTrue(watch, tools)));
  tools.signal.throwIfAborted();
  return reasons.filter((reason) => reason !== undefined);
}

async function untilTrue(watch: GuardWatch, tools: GuardTools): Promise<string | undefined> {
  const elapsedSeconds = startStopwatch(tools.clock);
  for (;;) {
    const reason = await reasonNow(watch, tools);
    if (reason === undefined || tools.signal.aborted || elapsedSeconds() >= watch.graceSeconds) return reason;
    await tools.clock.sleep(watch.everySeconds, tools.signal).catch(() => {});
  }
}

async function reasonNow(watch: GuardWatch, { clock, signal }: GuardTools): Promise<string | undefined> {
  try {
    const limits = { device: watch.name, what: "the guard's look", withinSeconds: checkSecondsMax, signal };
    return await withDeadline(clock, limits, (limited) => watch.check(limited));
  } catch (error) {
    if (error instanceof DeviceError) return error.message;
    return `${watch.name}: ${error instanceof Error ? error.message : String(error)}`;
  }
}
