import { type Clock, type ClockTimer, sleepOn, systemClock } from "../../drivers/kit/clock.ts";

const tickSeconds = 0.5;
/** Later than this, the process did not run at all [s]. */
const stallSeconds = 3;

/**
 * A machine's clock that stops while the process does, for runs in real time: the agent rightly retreats when it stood still, and
 * whether a busy machine lets a test stand still is not what the test is about.
 */
export function clockWithoutStalls(machine: Clock = systemClock): Clock & Disposable {
  let stalledSeconds = 0;
  let lastSeconds = machine.monotonicSeconds();
  const read = () => {
    const seconds = machine.monotonicSeconds();
    const lateSeconds = seconds - lastSeconds - tickSeconds;
    if (lateSeconds > stallSeconds) stalledSeconds += lateSeconds;
    lastSeconds = seconds;
    return seconds - stalledSeconds;
  };
  let ticker = machine.setTimer(tickSeconds, tick);
  function tick(): void {
    read();
    ticker = machine.setTimer(tickSeconds, tick);
  }
  const clock: Clock = {
    nowMs: () => {
      read();
      return machine.nowMs() - stalledSeconds * 1000;
    },
    monotonicSeconds: read,
    setTimer: (afterSeconds, callback) => {
      const dueSeconds = read() + afterSeconds;
      let timer: ClockTimer;
      const arm = (seconds: number) => {
        timer = machine.setTimer(seconds, () => {
          const leftSeconds = dueSeconds - read();
          // The runtime's timers come up to a millisecond early.
          if (leftSeconds > 0.002) arm(leftSeconds);
          else callback();
        });
      };
      arm(afterSeconds);
      return { cancel: () => timer.cancel() };
    },
    sleep: (seconds, signal) => sleepOn(clock, seconds, signal),
    hold: (work) => machine.hold(work),
  };
  return Object.assign(clock, { [Symbol.dispose]: () => ticker.cancel() });
}
