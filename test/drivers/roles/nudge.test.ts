import { expect, test } from "vitest";
import { ReadbackError } from "../../../drivers/kit/errors.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import type { Equatorial } from "../../../drivers/roles/mount.ts";
import { distanceDegrees } from "../../../drivers/roles/mount-sky.ts";
import { nudgeMount } from "../../../drivers/roles/nudge.ts";

/** A mount that nudges by slews; after so many of them its report is off by that many hours. */
function mountThatJumps(afterSlews: number, hours: number) {
  const slews: Equatorial[] = [];
  let reported: Equatorial = { raHours: 6, decDegrees: 20 };
  return {
    slews,
    device: "Mount",
    clock: new VirtualClock(0),
    log: silentLog,
    isTracking: async () => true,
    trackRate: async () => "solar" as const,
    untilStill: async () => reported,
    smallMoves: undefined,
    canSlew: true,
    budget: { degreesPerSecondMin: 1, toleranceArcsec: 300 },
    slew: async (target: Equatorial) => {
      slews.push(target);
      reported = slews.length === afterSlews ? { ...target, raHours: target.raHours + hours } : target;
    },
  };
}

test("a nudge whose report jumps by hours is given up with both numbers, and no slew follows the report", async () => {
  const mount = mountThatJumps(1, 2);
  const nudge = nudgeMount(mount, { eastArcsec: 180, northArcsec: 0 }, neverAborted);
  await expect(nudge).rejects.toThrow(ReadbackError);
  await expect(nudge).rejects.toThrow(/should be 180\.0 arcsec east, .* reads 101\d\d\d\.\d arcsec east/);
  expect(mount.slews).toHaveLength(1);
});

test("a nudge that ends somewhat off is put right", async () => {
  const mount = mountThatJumps(1, 0.005); // 70 arcsec
  await nudgeMount(mount, { eastArcsec: 180, northArcsec: 0 }, neverAborted);
  expect(mount.slews).toHaveLength(2);
  expect(distanceDegrees(mount.slews[0]!, mount.slews[1]!)).toBeLessThan(0.001);
});
