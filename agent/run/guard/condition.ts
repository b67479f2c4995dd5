import type { Clock } from "../../../drivers/kit/clock.ts";
import { withDeadline } from "../../../drivers/kit/deadline.ts";
import { DeviceError } from "../../../drivers/kit/errors.ts";
import { startStopwatch } from "../../../drivers/kit/stopwatch.ts";

import type { LapseRecord } from "../record/run-record.ts";

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

/** The least pause between two looks: what is left of a silence may be too little for a clock to tell [s]. */
const pauseSecondsMin = 0.1;

/** What is known of one condition, look by look. */
export class Condition {
  isTrue = false;
  #seenTrueUtcMs: number;
  #lapse: LapseRecord | undefined;
  /** Runs while the condition is untrue, as far as is known; silence in between does not end it. */
  #untrueSeconds: (() => number) | undefined;
  /** Runs from the beginning of the first look that told nothing. */
  #silentSeconds: (() => number) | undefined;

  constructor(
    readonly watch: GuardWatch,
    readonly clock: Clock,
    readonly onLapse: (lapse: LapseRecord) => void,
  ) {
    this.#seenTrueUtcMs = clock.nowMs();
  }

  /** No longer than to the end of a silence. */
  get pauseSeconds(): number {
    const { everySeconds } = this.watch;
    if (!this.#silentSeconds) return everySeconds;
    return Math.max(pauseSecondsMin, Math.min(everySeconds, this.#silenceLeft));
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
      this.#note(reason);
      if (reason === undefined) this.#untrueSeconds = undefined;
      else this.#untrueSeconds ??= startStopwatch(this.clock);
      return this.#untrueSeconds && this.#untrueSeconds() >= graceSeconds ? reason : undefined;
    } catch (error) {
      if (signal.aborted) return undefined;
      const reason = this.#words(error);
      this.#silentSeconds ??= lookedSeconds;
      this.#note(reason);
      return this.#silenceLeft <= 0 ? reason : undefined;
    }
  }

  #note(reason: string | undefined): void {
    this.isTrue = reason === undefined;
    if (reason !== undefined) {
      if (this.#lapse) return;
      this.#lapse = { watch: this.watch.name, reason, fromUtcMs: this.#seenTrueUtcMs };
      this.onLapse(this.#lapse);
      return;
    }
    this.#seenTrueUtcMs = this.clock.nowMs();
    if (!this.#lapse) return;
    this.#lapse.toUtcMs = this.#seenTrueUtcMs;
    this.onLapse(this.#lapse);
    this.#lapse = undefined;
  }

  #words(error: unknown): string {
    if (error instanceof DeviceError || error instanceof UnknownConditionError) return error.message;
    return `${this.watch.name}: ${error instanceof Error ? error.message : String(error)}`;
  }
}
