import { expect, test } from "vitest";
import { acceleratedClock, systemClock } from "../../../drivers/kit/clock.ts";
import { withDeadline } from "../../../drivers/kit/deadline.ts";
import { DeadlineError } from "../../../drivers/kit/errors.ts";
import { startStopwatch } from "../../../drivers/kit/stopwatch.ts";
import { NothingLeftToWaitForError, VirtualClock } from "../../../drivers/kit/virtual-clock.ts";

const startMs = Date.UTC(2026, 5, 21, 10);
const never = new AbortController().signal;

test("an hour of waiting passes at once, in the order in which timers are due", async () => {
  const clock = new VirtualClock(startMs);
  const seen: string[] = [];
  const wait = async (name: string, seconds: number) => {
    await clock.sleep(seconds);
    seen.push(`${name} ${(clock.nowMs() - startMs) / 1000}`);
  };
  await clock.drive(
    Promise.all([wait("late", 3600), wait("early", 1), wait("tie a", 60), wait("tie b", 60)]),
  );
  expect(seen).toEqual(["early 1", "tie a 60", "tie b 60", "late 3600"]);
  expect(clock.pendingTimers).toBe(0);
});

test("time stands still while held work goes on", async () => {
  const clock = new VirtualClock(startMs);
  const work = clock.hold(new Promise<number>((resolve) => setTimeout(() => resolve(clock.nowMs()), 30)));
  const seenMs = await clock.drive(Promise.race([work, clock.sleep(10).then(() => -1)]));
  expect(seenMs).toBe(startMs);
});

test("a wait that nothing will end is told, not hung on", async () => {
  const clock = new VirtualClock(startMs);
  await expect(clock.drive(new Promise(() => {}))).rejects.toThrow(NothingLeftToWaitForError);
});

test("an aborted sleep rejects with the reason and leaves no timer", async () => {
  const clock = new VirtualClock(startMs);
  const controller = new AbortController();
  const asleep = clock.sleep(100, controller.signal);
  controller.abort(new Error("stop"));
  await expect(asleep).rejects.toThrow("stop");
  expect(clock.pendingTimers).toBe(0);
});

test("a deadline ends work that ignores its signal, and cancels its timer when the work is in time", async () => {
  const clock = new VirtualClock(startMs);
  const limit = { device: "Cover", what: "closing", withinSeconds: 5, signal: never };
  const late = clock.drive(withDeadline(clock, limit, () => new Promise(() => {})));
  await expect(late).rejects.toThrow(DeadlineError);
  expect(clock.nowMs() - startMs).toBe(5000);
  expect(await clock.drive(withDeadline(clock, limit, async () => "closed"))).toBe("closed");
  expect(clock.pendingTimers).toBe(0);
});

test("the caller's reason wins over the deadline", async () => {
  const clock = new VirtualClock(startMs);
  const controller = new AbortController();
  clock.setTimer(1, () => controller.abort(new Error("operator")));
  const work = withDeadline(
    clock,
    { device: "Mount", what: "slew", withinSeconds: 5, signal: controller.signal },
    (signal) => clock.sleep(100, signal),
  );
  await expect(clock.drive(work)).rejects.toThrow("operator");
});

test("two accelerated clocks with the same three numbers agree", async () => {
  const epochMs = Date.now();
  const fast = acceleratedClock({ speed: 1000, startUtcMs: startMs, epochMs });
  await fast.sleep(20);
  const other = acceleratedClock({ speed: 1000, startUtcMs: startMs, epochMs });
  expect(fast.nowMs() - startMs).toBeGreaterThanOrEqual(19_000);
  const [before, between, after] = [fast.nowMs(), other.nowMs(), fast.nowMs()];
  expect(between).toBeGreaterThanOrEqual(before);
  expect(between).toBeLessThanOrEqual(after);
  expect(systemClock.nowMs()).toBeGreaterThan(startMs - 1e12);
});

test("the machine's wall clock is set back two hours: spans go on at the clock's own pace", async () => {
  const real = Date.now;
  for (const clock of [systemClock, acceleratedClock({ speed: 100, startUtcMs: startMs, epochMs: real() })]) {
    const [beforeUtcMs, before] = [clock.nowMs(), clock.monotonicSeconds()];
    const elapsedSeconds = startStopwatch(clock);
    try {
      Date.now = () => real() - 7_200_000;
      await clock.sleep(0.02);
      expect(clock.nowMs()).toBeLessThan(beforeUtcMs);
      expect(clock.monotonicSeconds()).toBeGreaterThan(before);
      expect(elapsedSeconds()).toBeGreaterThan(0.015);
    } finally {
      Date.now = real;
    }
  }
});

test("while work is held the virtual clock waits for it and takes no processor time", async () => {
  const clock = new VirtualClock(0);
  let turns = 0;
  const counted = setImmediate;
  globalThis.setImmediate = ((callback: () => void) => {
    turns++;
    return counted(callback);
  }) as typeof setImmediate;
  try {
    await clock.drive(clock.hold(new Promise((resolve) => setTimeout(resolve, 30))));
  } finally {
    globalThis.setImmediate = counted;
  }
  expect(turns).toBeLessThan(10);
});
