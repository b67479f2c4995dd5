import { type Clock, type ClockTimer, sleepOn } from "../../../drivers/kit/clock.ts";
import type { Life } from "./fake-rig.ts";

/** The clock of a process: its timers die with it. */
export function mortalClock(clock: Clock, life: Life): Clock {
  const timers = new Set<ClockTimer>();
  void life.dies.promise.then(() => {
    for (const timer of timers) timer.cancel();
  });
  const mortal: Clock = {
    nowMs: () => clock.nowMs(),
    monotonicSeconds: () => clock.monotonicSeconds(),
    setTimer(afterSeconds, callback) {
      if (!life.alive) return { cancel() {} };
      const timer = clock.setTimer(afterSeconds, () => {
        timers.delete(timer);
        callback();
      });
      timers.add(timer);
      return {
        cancel() {
          timers.delete(timer);
          timer.cancel();
        },
      };
    },
    sleep: (seconds, signal) => sleepOn(mortal, seconds, signal),
    hold: (work) => clock.hold(work),
  };
  return mortal;
}
