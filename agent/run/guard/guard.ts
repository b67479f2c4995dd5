import type { Clock } from "../../../drivers/kit/clock.ts";
import type { LapseRecord } from "../record/run-record.ts";
import { Condition, type GuardWatch } from "./condition.ts";

export interface GuardTools {
  readonly clock: Clock;
  readonly signal: AbortSignal;
}

export interface GuardListener {
  /** Once for every condition that stays broken beyond its grace; the others are watched on. */
  lost(reason: string, watch: GuardWatch): void;
  /** At the beginning of every lapse, and at its end if it has one. */
  lapse?(lapse: LapseRecord): void;
  /** At every look: a guard that is silent is not awake. */
  looked?(): void;
}

/** Watches until the signal aborts. */
export async function watchConditions(
  watches: readonly GuardWatch[],
  { clock, signal }: GuardTools,
  listener: GuardListener,
): Promise<void> {
  const keepWatch = async (watch: GuardWatch) => {
    const condition = new Condition(watch, clock, (lapse) => listener.lapse?.(lapse));
    while (!signal.aborted) {
      const lost = await condition.look(signal);
      listener.looked?.();
      if (signal.aborted) return;
      if (lost !== undefined) return listener.lost(lost, watch);
      await clock.sleep(condition.pauseSeconds, signal).catch(() => {});
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
  { clock, signal }: GuardTools,
): Promise<readonly string[]> {
  const untilTrue = async (watch: GuardWatch) => {
    const condition = new Condition(watch, clock, () => {});
    for (;;) {
      const lost = await condition.look(signal);
      if (lost !== undefined || condition.isTrue || signal.aborted) return lost;
      await clock.sleep(condition.pauseSeconds, signal).catch(() => {});
    }
  };
  const reasons = await Promise.all(watches.map(untilTrue));
  signal.throwIfAborted();
  return reasons.filter((reason) => reason !== undefined);
}
