import { systemClock } from "../../../drivers/kit/clock.ts";

const tickSeconds = 1;
/** An agent that stood still for ten seconds retreats, and is right to. */
const stallSeconds = 8;

/**
 * A test of processes in real time: when it fails on a machine that stood still meanwhile, once more, as the agent rightly tells
 * that it stood still.
 */
export function repeatIfStalled(body: () => Promise<void>): () => Promise<void> {
  return async () => {
    for (let repeats = 0; ; repeats++) {
      using stalls = watchForStalls();
      try {
        return await body();
      } catch (error) {
        if (repeats === 2 || !stalls.seen()) throw error;
      }
    }
  };
}

function watchForStalls(): Disposable & { seen(): boolean } {
  let lastSeconds = systemClock.monotonicSeconds();
  let seen = false;
  const look = () => {
    const seconds = systemClock.monotonicSeconds();
    if (seconds - lastSeconds > stallSeconds) seen = true;
    lastSeconds = seconds;
  };
  let timer = systemClock.setTimer(tickSeconds, tick);
  function tick(): void {
    look();
    timer = systemClock.setTimer(tickSeconds, tick);
  }
  return {
    seen: () => {
      look();
      return seen;
    },
    [Symbol.dispose]: () => timer.cancel(),
  };
}
