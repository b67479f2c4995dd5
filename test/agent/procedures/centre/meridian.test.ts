import { expect, test } from "vitest";
import { mayFlip, noteSlew } from "../../../../agent/procedures/centre/meridian.ts";
import { neverAborted } from "../../../../drivers/kit/never-aborted.ts";
import type { Equatorial, Mount, PierSide } from "../../../../drivers/roles/mount.ts";

const siderealHours = 6;
/** A place at that hour angle. */
const placeAt = (hourAngleHours: number): Equatorial => ({
  raHours: siderealHours - hourAngleHours,
  decDegrees: 20,
});

function mountTelling(now?: PierSide, then?: PierSide, later = then): Mount {
  let asked = 0;
  const pierSide = async (at: "now" | Equatorial) => (at === "now" ? now : asked++ === 0 ? then : later);
  return { pierSide } as Partial<Mount> as Mount;
}

const flips = (mount: Mount, hourAngleHours: number) =>
  mayFlip(mount, placeAt(hourAngleHours), siderealHours, neverAborted);

test.each([
  ["east", "east", 1, false],
  ["west", "east", 1, true],
  ["west", "west", 0.02, false], // it is set to go on past the meridian
] as const)(
  "a mount that tells both sides is believed: %s, then %s at %d h",
  async (now, then, hours, expected) => {
    expect(await flips(mountTelling(now, then), hours)).toBe(expected);
  },
);

test("a place that changes its side within a minute may have it changed when the slew begins", async () => {
  expect(await flips(mountTelling("west", "west", "east"), -0.01)).toBe(true);
});

test.each([
  ["west", -1, false],
  ["west", 0.5, true],
  ["east", 0.5, false],
  ["east", -0.5, true],
  ["west", -0.05, true], // on which side of the meridian it takes this to be, nobody knows
] as const)("a mount that tells the side now alone: %s, to %d h", async (now, hours, expected) => {
  expect(await flips(mountTelling(now), hours)).toBe(expected);
});

test.each([
  [-2, -1, false],
  [-2, 0.5, true],
  [1, 2, false],
  [-0.03, -0.5, true],
])("a mount that tells nothing: slewed at %d h, then to %d h", async (slewedAt, hours, expected) => {
  const mount = mountTelling();
  noteSlew(mount, placeAt(slewedAt), siderealHours);
  expect(await flips(mount, hours)).toBe(expected);
});

test("a mount that was found on the Sun and tells nothing: before the meridian it has not passed it", async () => {
  expect(await flips(mountTelling(), -1)).toBe(false);
  expect(await flips(mountTelling(), 1)).toBe(true);
});
