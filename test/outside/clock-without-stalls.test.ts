import { expect, test } from "vitest";
import type { Clock } from "../../drivers/kit/clock.ts";
import { clockWithoutStalls } from "./clock-without-stalls.ts";

/** A machine whose process runs, or stands still, for so many seconds. */
function machineByHand() {
  let seconds = 100;
  let timers: { due: number; callback: () => void }[] = [];
  const callDue = (until: number, at: (due: number) => number) => {
    for (;;) {
      const next = timers.filter(({ due }) => due <= until).sort((a, b) => a.due - b.due)[0];
      if (!next) return;
      timers = timers.filter((one) => one !== next);
      seconds = at(next.due);
      next.callback();
    }
  };
  const clock: Pick<Clock, "nowMs" | "monotonicSeconds" | "setTimer"> = {
    nowMs: () => seconds * 1000,
    monotonicSeconds: () => seconds,
    setTimer: (after, callback) => {
      const one = { due: seconds + after, callback };
      timers.push(one);
      return {
        cancel: () => {
          timers = timers.filter((other) => other !== one);
        },
      };
    },
  };
  return {
    clock: clock as Clock,
    run: (span: number) => {
      const end = seconds + span;
      callDue(end, (due) => due);
      seconds = end;
    },
    stall: (span: number) => {
      seconds += span;
      callDue(seconds, () => seconds);
    },
  };
}

test("while the process stands still, so does its clock, and no timer comes early by it", () => {
  const machine = machineByHand();
  using clock = clockWithoutStalls(machine.clock);
  const begin = clock.monotonicSeconds();
  let called = 0;
  clock.setTimer(10, () => called++);
  machine.run(4);
  machine.stall(41);
  // Up to half a second passes until it is noticed.
  expect(clock.monotonicSeconds() - begin).toBeCloseTo(4.5, 6);
  expect(clock.nowMs() / 1000).toBeCloseTo(clock.monotonicSeconds(), 6);
  expect(called).toBe(0);
  machine.run(5);
  expect(called).toBe(0);
  machine.run(2);
  expect(called).toBe(1);
});

test("a process that is late by a second or two is on time", () => {
  const machine = machineByHand();
  using clock = clockWithoutStalls(machine.clock);
  const begin = clock.monotonicSeconds();
  machine.run(3);
  machine.stall(2);
  machine.run(1);
  expect(clock.monotonicSeconds() - begin).toBeCloseTo(6, 6);
});
