import { beforeEach, expect, test } from "vitest";
import { type Front, newFront } from "../../../agent/safing/front.ts";
import { uncover } from "../../../agent/safing/uncover.ts";
import { sunFromSite } from "../../../agent/sky/sun-from-site.ts";
import { ReadbackError } from "../../../drivers/kit/errors.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import { FakeRig } from "../run/fake-rig.ts";
import { forenoonUtcMs } from "../run/fake-run.ts";

const site = { latitudeDegrees: 52.1, longitudeDegrees: -1.4, elevationMetres: 110 };
let clock: VirtualClock;
let rig: FakeRig;
let front: Front;
let against: string[];

/** Covered, pointed at the Sun. */
beforeEach(() => {
  clock = new VirtualClock(forenoonUtcMs);
  rig = new FakeRig(clock);
  front = newFront();
  against = [];
  const sun = sunFromSite(forenoonUtcMs, site);
  rig.truth.get("mount")!.set("parked", false).set("tracking", true);
  rig.truth.get("mount")!.set("pointing", [sun.raHours, sun.decDegrees]);
});

const open = () =>
  clock.drive(
    uncover(
      {
        rig: rig.open(),
        site,
        clock,
        log: silentLog,
        front,
        findings: { lightRate: {} },
        whyKeepCovered: async () => against,
        uncoverWithinDegrees: 5,
      },
      neverAborted,
    ),
  );

test("a front that is proved covered, at the Sun, with nothing against it, is opened", async () => {
  await open();
  expect(rig.get("cover", "position")).toBe("open");
  expect(front).toMatchObject({ expectedClosed: false, covered: { proved: false } });
});

test("anything against it keeps it closed, and all reasons are said", async () => {
  against = ["the Sun filter was last confirmed long ago", "the guard does not watch"];
  await expect(open()).rejects.toThrow(/confirmed long ago; the guard does not watch/);
  expect(rig.get("cover", "position")).toBe("closed");
});

test("pointed elsewhere it stays closed", async () => {
  rig.truth.get("mount")!.set("pointing", [0, 60]);
  await expect(open()).rejects.toThrow(/° from the Sun, more than 5°/);
  expect(rig.get("cover", "position")).toBe("closed");
});

test("a cover that reads neither closed nor open is not moved on from", async () => {
  rig.truth.get("cover")!.set("position", "unknown");
  await expect(open()).rejects.toThrow("the cover reads unknown");
});

test("a cover that we closed and that reads open was opened by somebody else", async () => {
  rig.truth.get("cover")!.set("position", "open");
  front.expectedClosed = true;
  front.covered = { proved: true, by: "a dark frame" };
  await expect(open()).rejects.toThrow("nobody here opened it");
});

test("one that is open already is asked about all the same", async () => {
  rig.truth.get("cover")!.set("position", "open");
  await open();
  against = ["rain"];
  await expect(open()).rejects.toThrow("rain");
});

test("a cover that does not open when it is told to is believed no more, but by a frame", async () => {
  rig.afterChange = () => {
    if (rig.get("cover", "position") !== "open") return;
    rig.truth.get("cover")!.set("position", "closed");
    throw new ReadbackError("Fake Cover", "CAP_PARK", "open", "closed");
  };
  await expect(open()).rejects.toThrow("should be open and reads closed");
  expect(front.covered).toMatchObject({ proved: true, by: "the cover's report" });
  expect(front.covered).toHaveProperty("unseen", expect.stringContaining("did not open when it was told to"));
});
