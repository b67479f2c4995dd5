import { type Clock, type ClockTimer, sleepOn } from "../../drivers/kit/clock.ts";

/** The clock of one computer within the world's time: set wrong or anew, it does not move the Sun. */
export class ComputerClock implements Clock {
  #aheadSeconds = 0;

  constructor(readonly time: Clock) {}

  /** Sets the wall clock forward, or back by less than 0. Timers and spans go on as they were. */
  step(seconds: number): void {
    this.#aheadSeconds += seconds;
  }

  nowMs(): number {
    return this.time.nowMs() + this.#aheadSeconds * 1000;
  }

  monotonicSeconds(): number {
    return this.time.monotonicSeconds();
  }

  setTimer(afterSeconds: number, callback: () => void): ClockTimer {
    return this.time.setTimer(afterSeconds, callback);
  }

  sleep(seconds: number, signal?: AbortSignal): Promise<void> {
    return sleepOn(this, seconds, signal);
  }

  hold<T>(work: Promise<T>): Promise<T> {
    return this.time.hold(work);
  }
}
