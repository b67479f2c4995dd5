import { beforeEach, expect, test } from "vitest";
import { type Front, newFront } from "../../../agent/safing/front.ts";
import { whileCovered } from "../../../agent/safing/while-covered.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import { FakeRig } from "../run/fake-rig.ts";
import { forenoonUtcMs } from "../run/fake-run.ts";

const site = { latitudeDegrees: 52.1, longitudeDegrees: -1.4, elevationMetres: 110 };
let clock: VirtualClock;
let rig: FakeRig;
let front: Front;

beforeEach(() => {
  clock = new VirtualClock(forenoonUtcMs);
  rig = new FakeRig(clock);
  front = newFront();
  front.expectedClosed = true;
  front.covered = { proved: true, by: "the cover's report" };
});

/** A slew of a minute. */
const slew = () =>
  clock.drive(
    whileCovered(
      { rig: rig.open(), site, clock, log: silentLog, front, findings: { lightRate: {} } },
      async (signal) => {
        await clock.sleep(60, signal);
        return "arrived";
      },
      neverAborted,
    ),
  );

test("a cover that stays closed lets the move come to its end, and nothing is left running", async () => {
  expect(await slew()).toBe("arrived");
  expect(clock.pendingTimers).toBe(0);
});

test("a cover that somebody opens in mid-slew ends the move within seconds", async () => {
  clock.setTimer(20, () => rig.truth.get("cover")!.set("position", "open"));
  const startedSeconds = clock.monotonicSeconds();
  await expect(slew()).rejects.toMatchObject({ code: "NOT_COVERED" });
  expect(clock.monotonicSeconds() - startedSeconds).toBeLessThan(25);
  expect(front.covered).toMatchObject({ proved: false });
});

test("a front that is not proved to be covered is only moved", async () => {
  front.covered = { proved: false, why: "nobody has looked" };
  rig.truth.get("cover")!.set("position", "open");
  expect(await slew()).toBe("arrived");
});

test("a cover that stands open before the move lets it not begin", async () => {
  rig.truth.get("cover")!.set("position", "open");
  const startedSeconds = clock.monotonicSeconds();
  await expect(slew()).rejects.toMatchObject({ code: "NOT_COVERED" });
  expect(clock.monotonicSeconds() - startedSeconds).toBeLessThan(1);
  expect(front.covered.proved).toBe(false);
});
