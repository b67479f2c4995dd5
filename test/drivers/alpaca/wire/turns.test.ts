import { expect, test } from "vitest";
import { Turns } from "../../../../drivers/alpaca/wire/turns.ts";
import { neverAborted } from "../../../../drivers/kit/never-aborted.ts";
import { VirtualClock } from "../../../../drivers/kit/virtual-clock.ts";

const shared = { alone: false };

/** Reads of a device that answers each after so long, or one after the other. @returns how many were under way at most */
async function mostAtOnce(turns: Turns, answerSeconds: number, { oneByOne = false } = {}) {
  const clock = new VirtualClock(0);
  let underWay = 0;
  let most = 0;
  let freeAtSeconds = 0;
  const read = async () => {
    most = Math.max(most, ++underWay);
    const begun = clock.monotonicSeconds();
    const answered = (oneByOne ? Math.max(begun, freeAtSeconds) : begun) + answerSeconds;
    freeAtSeconds = answered;
    await clock.sleep(answered - begun);
    underWay--;
    turns.note(clock.monotonicSeconds() - begun);
  };
  await clock.drive(Promise.all(Array.from({ length: 40 }, () => turns.take(read, shared, neverAborted))));
  return { most, seconds: clock.monotonicSeconds() };
}

test("a quick one is asked for one thing after the other, a slow one for several", async () => {
  expect((await mostAtOnce(new Turns({ quick: 1, slow: 12 }), 0.1)).most).toBe(1);
  const slow = await mostAtOnce(new Turns({ quick: 1, slow: 12 }), 1.2);
  expect(slow.most).toBe(12);
  expect(slow.seconds).toBeLessThan(0.2 * 40 * 1.2);
});

test("a slow one that works everything off one by one is not pressed", async () => {
  const { most } = await mostAtOnce(new Turns({ quick: 1, slow: 12 }), 1.2, { oneByOne: true });
  expect(most).toBeLessThanOrEqual(4); // the last of them is answered long before a deadline
});

test("a command waits for what was asked before it, and what is asked after it waits for it", async () => {
  const turns = new Turns({ quick: 4, slow: 4 });
  const clock = new VirtualClock(0);
  const order: string[] = [];
  const ask = (name: string, alone: boolean) =>
    turns.take(
      async () => {
        order.push(`${name} begins`);
        await clock.sleep(1);
        order.push(`${name} ends`);
      },
      { alone },
      neverAborted,
    );
  await clock.drive(Promise.all([ask("read", false), ask("command", true), ask("next", false)]));
  expect(order).toEqual([
    "read begins",
    "read ends",
    "command begins",
    "command ends",
    "next begins",
    "next ends",
  ]);
});

test("who gives up waiting leaves the queue, and the next takes its turn", async () => {
  const turns = new Turns({ quick: 1, slow: 1 });
  const clock = new VirtualClock(0);
  const stop = new AbortController();
  const sleep = () => clock.sleep(1);
  const work = async () => {
    const first = turns.take(sleep, shared, neverAborted);
    const command = turns.take(sleep, { alone: true }, stop.signal);
    const last = turns.take(sleep, shared, neverAborted);
    stop.abort(new Error("not wanted any more"));
    await expect(command).rejects.toThrow("not wanted any more");
    await Promise.all([first, last]);
    return clock.monotonicSeconds();
  };
  expect(await clock.drive(work())).toBe(2);
});

test("a connection that is refused while more than small servers take are open: no more than those from then on", async () => {
  const turns = new Turns({ quick: 4, slow: 32 });
  expect(turns.refused()).toBe(false);
  for (let i = 0; i < 20; i++) turns.note(1.2);
  expect(turns.refused()).toBe(true);
  expect((await mostAtOnce(turns, 1.2)).most).toBeLessThanOrEqual(4);
});
