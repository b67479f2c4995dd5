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
  /** How long nothing may be known of it: looks that fail or never end. Default: its grace, and at least one look's time. */
  readonly silenceSeconds?: number;
  /** Whether, once it is lost, nothing may be left open to the sky at the end. */
  readonly ofWeather?: true;
  /** @returns why it is not true now, `undefined` when all is well @throws what keeps it from being known */
  check(signal: AbortSignal): Promise<string | undefined>;
}

/** The condition was looked at and could not be judged; told in the words given. */
export class UnknownConditionError extends Error {
  override readonly name = "UnknownConditionError";
}

/** One look that gives no answer by then is silence [s]. */
const lookSecondsMax = 20;

export interface GuardTools {
  readonly clock: Clock;
  readonly signal: AbortSignal;
  /** Called at every look: a guard that is silent is not awake. */
  readonly looked?: () => void;
}

/**
 * Watches until the signal aborts. Calls back once for every condition that stays broken beyond its grace,
 * and goes on watching the others.
 */
export async function watchConditions(
  watches: readonly GuardWatch[],
  { clock, signal, looked }: GuardTools,
  onLost: (reason: string, watch: GuardWatch) => void,
): Promise<void> {
  const keepWatch = async (watch: GuardWatch) => {
    const condition = new Condition(watch, clock);
    while (!signal.aborted) {
      const lost = await condition.look(signal);
      looked?.();
      if (signal.aborted) return;
      if (lost !== undefined) return onLost(lost, watch);
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
    const condition = new Condition(watch, clock);
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

type Seen = "true" | "untrue" | "silence";

/** What is known of one condition, look by look. */
class Condition {
  #seen: Seen = "silence";
  /** Runs while the condition is untrue, as far as is known; silence in between does not end it. */
  #untrueSeconds: (() => number) | undefined;
  /** Runs from the beginning of the first look that told nothing. */
  #silentSeconds: (() => number) | undefined;

  constructor(
    readonly watch: GuardWatch,
    readonly clock: Clock,
  ) {}

  get isTrue(): boolean {
    return this.#seen === "true";
  }

  /** Never beyond the end of a silence. */
  get pauseSeconds(): number {
    const { everySeconds } = this.watch;
    return this.#silentSeconds ? Math.max(0, Math.min(everySeconds, this.#silenceLeft)) : everySeconds;
  }

  get #silenceSeconds(): number {
    return Math.max(this.watch.silenceSeconds ?? this.watch.graceSeconds, lookSecondsMax);
  }

  get #silenceLeft(): number {
    return this.#silenceSeconds - (this.#silentSeconds?.() ?? 0);
  }

  /** @returns why the condition is lost, once it has been untrue or silent beyond its time */
  async look(signal: AbortSignal): Promise<string | undefined> {
    const lookedSeconds = startStopwatch(this.clock);
    const { name, graceSeconds } = this.watch;
    // A slow answer is waited for as long as silence is: shorter deadlines would turn the one into the other.
    const limits = {
      device: name,
      what: "the guard's look",
      withinSeconds: Math.max(1, this.#silenceLeft),
      signal,
    };
    try {
      const reason = await withDeadline(this.clock, limits, (limited) => this.watch.check(limited));
      this.#silentSeconds = undefined;
      this.#seen = reason === undefined ? "true" : "untrue";
      this.#untrueSeconds =
        reason === undefined ? undefined : (this.#untrueSeconds ?? startStopwatch(this.clock));
      return reason !== undefined && this.#untrueSeconds!() >= graceSeconds ? reason : undefined;
    } catch (error) {
      this.#seen = "silence";
      this.#silentSeconds ??= lookedSeconds;
      return this.#silenceLeft <= 0 ? this.#words(error) : undefined;
    }
  }

  #words(error: unknown): string {
    if (error instanceof DeviceError || error instanceof UnknownConditionError) return error.message;
    return `${this.watch.name}: ${error instanceof Error ? error.message : String(error)}`;
  }
}
