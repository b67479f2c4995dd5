import { expect, test } from "vitest";
import { whyKeepCovered } from "../../../../agent/run/guard/why-keep-covered.ts";
import { neverAborted } from "../../../../drivers/kit/never-aborted.ts";
import { VirtualClock } from "../../../../drivers/kit/virtual-clock.ts";
import { readRigFile } from "../../../../plans/rig-file.ts";
import { FakeRig } from "../fake-rig.ts";
import { forenoonUtcMs, testRigText } from "../fake-run.ts";

const rigFile = readRigFile(testRigText, "rig.yaml");

function ask(change: Partial<Parameters<typeof whyKeepCovered>[0]> = {}) {
  const clock = new VirtualClock(forenoonUtcMs);
  const rig = new FakeRig(clock).open();
  const usual = {
    rig,
    rigFile,
    clock,
    watches: [],
    guardSilentSeconds: 3,
    against: [],
    signal: neverAborted,
  };
  return clock.drive(whyKeepCovered({ ...usual, ...change }));
}

test("with all in order nothing speaks against it", async () => {
  expect(await ask()).toEqual([]);
});

test("a statement that ran out meanwhile, what others have against it, and a guard that does not watch", async () => {
  const sunFilter = { ...rigFile.sunFilter, lastConfirmed: "2025-01-01" };
  expect(await ask({ rigFile: { ...rigFile, sunFilter } })).toMatchObject([/last confirmed on 2025-01-01/]);
  expect(await ask({ against: ["the keeper is gone"] })).toEqual(["the keeper is gone"]);
  expect(await ask({ guardSilentSeconds: undefined })).toEqual(["the guard does not watch"]);
  expect(await ask({ guardSilentSeconds: 100 })).toMatchObject([/has not looked for 100 s/]);
});

test("a link that is too slow for a retreat in time, and stays so", async () => {
  const clock = new VirtualClock(forenoonUtcMs);
  const devices = new FakeRig(clock).open();
  const cover = { ...devices.cover!, name: "Fake cover", roundTripSeconds: 6 };
  expect(await ask({ rig: { cover } })).toMatchObject([/answers take 6.0 s/]);
});

test("every condition of the guard is looked at anew", async () => {
  const watch = { name: "rain", everySeconds: 5, graceSeconds: 0, check: async () => "it rains" };
  expect(await ask({ watches: [watch] })).toEqual(["it rains"]);
});
