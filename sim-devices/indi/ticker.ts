import type { Clock, ClockTimer } from "../../drivers/kit/clock.ts";

/** Repeats while there is something to tell: a driver's polling, without a timer while all is still. */
export class Ticker {
  #timer: ClockTimer | undefined;

  constructor(
    readonly clock: Clock,
    /** Time to the next tick [s]; undefined: none. */
    readonly period: () => number | undefined,
    readonly tick: () => void,
  ) {}

  /** Starts over, because the period may have changed. */
  kick(): void {
    this.stop();
    const seconds = this.period();
    if (seconds === undefined) return;
    this.#timer = this.clock.setTimer(seconds, () => {
      this.#timer = undefined;
      this.tick();
      if (this.#timer === undefined) this.kick();
    });
  }

  stop(): void {
    this.#timer?.cancel();
    this.#timer = undefined;
  }
}
