import { beforeEach, expect, test } from "vitest";
import { whyLeaveCovered } from "../../../../agent/run/restoring/cover-policy.ts";
import { sunFromSite } from "../../../../agent/sky/sun-from-site.ts";
import { neverAborted } from "../../../../drivers/kit/never-aborted.ts";
import { VirtualClock } from "../../../../drivers/kit/virtual-clock.ts";
import { readRigFile } from "../../../../plans/rig-file.ts";
import { FakeRig } from "../fake-rig.ts";
import { forenoonUtcMs, testRigText } from "../fake-run.ts";

const rigFile = readRigFile(testRigText, "rig.yaml");
const expired = { ...rigFile, sunFilter: { ...rigFile.sunFilter, lastConfirmed: "2025-01-01" } };
let clock: VirtualClock;
let rig: FakeRig;

beforeEach(() => {
  clock = new VirtualClock(forenoonUtcMs);
  rig = new FakeRig(clock);
});

/** Points that far north of the Sun. */
function point(northDegrees: number): void {
  const sun = sunFromSite(clock.nowMs(), rigFile.site);
  rig.truth.get("mount")!.set("pointing", [sun.raHours, sun.decDegrees + northDegrees]);
}

const ask = (file = expired, retreatedBecause: readonly string[] = []) =>
  whyLeaveCovered({ rig: rig.open(), rigFile: file, clock, retreatedBecause }, neverAborted);

test("a statement that has run out keeps the cover closed near the Sun, and only there", async () => {
  point(3);
  expect(await ask()).toMatchObject([/confirmed/]);
  point(14);
  expect(await ask()).toHaveLength(1);
  point(16);
  expect(await ask()).toEqual([]);
});

test("by night it may open whatever the statement, and with a good one near the Sun too", async () => {
  point(3);
  expect(await ask(rigFile)).toEqual([]);
  clock = new VirtualClock(forenoonUtcMs + 14 * 3_600_000);
  expect(await ask()).toEqual([]);
});

test("after a retreat it stays closed wherever it points", async () => {
  point(60);
  expect(await ask(rigFile, ["rain"])).toEqual(["it was not safe (rain)"]);
});
