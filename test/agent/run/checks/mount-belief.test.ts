import { expect, test } from "vitest";
import { checkMountBelief } from "../../../../agent/run/checks/mount-belief.ts";
import { greenwichSiderealHours } from "../../../../drivers/kit/sidereal.ts";
import { VirtualClock } from "../../../../drivers/kit/virtual-clock.ts";
import type { Mount, SiteAndTime } from "../../../../drivers/roles/mount.ts";

const nowMs = Date.UTC(2026, 5, 20, 10, 0, 0);
const site = { latitudeDegrees: 48.2, longitudeDegrees: 11.6, elevationMetres: 500 };
const siderealHours = greenwichSiderealHours(nowMs) + site.longitudeDegrees / 15;
const right = { site, utcMs: nowMs, siderealHours };

async function check(believed: Partial<SiteAndTime>) {
  const mount = { siteAndTime: async () => ({ ...right, ...believed }) } as Partial<Mount> as Mount;
  const tools = { clock: new VirtualClock(nowMs), signal: new AbortController().signal };
  const checks = await checkMountBelief(mount, site, tools);
  return {
    verdicts: checks.map(({ verdict }) => verdict),
    text: checks.map(({ text }) => text).join("; "),
  };
}

test("a mount that believes what we do agrees in all three, and both values are told", async () => {
  const { verdicts, text } = await check({});
  expect(verdicts).toEqual(["agrees", "agrees", "agrees"]);
  expect(text).toContain("its site is 48.20°, 11.60° and that of the rig file 48.20°, 11.60°");
  expect(text).toContain(
    "its clock reads 2026-06-20 10:00:00 UTC and this computer's 2026-06-20 10:00:00 UTC",
  );
});

test.each([
  ["the next town", { latitudeDegrees: 48.5, longitudeDegrees: 11.9 }, "differs", "0.4° apart"],
  ["the sign of the longitude", { latitudeDegrees: 48.2, longitudeDegrees: -11.6 }, "wrong", "east and west"],
  ["the hemisphere", { latitudeDegrees: -48.2, longitudeDegrees: 11.6 }, "wrong", "the hemisphere seems"],
  ["both signs", { latitudeDegrees: -48.2, longitudeDegrees: -11.6 }, "wrong", "both signs"],
  ["another country", { latitudeDegrees: 40, longitudeDegrees: 11.6 }, "wrong", "8.2° apart"],
])("site: %s", async (_, believed, verdict, words) => {
  const { verdicts, text } = await check({ site: { ...believed, elevationMetres: 0 } });
  expect(verdicts).toEqual([verdict, "agrees", "agrees"]);
  expect(text).toContain(words);
});

test.each([
  ["a wristwatch", 100, "differs", "100 s ahead"],
  ["summer time taken for UTC", 7200, "wrong", "2.00 h ahead (local time seems to be taken for UTC)"],
  ["a zone of quarters of an hour", -20_700, "wrong", "5.75 h behind (local time"],
  ["yesterday", -86_400, "wrong", "24.00 h behind"],
  ["ten minutes, which no zone explains", 420, "wrong", "420 s ahead"],
])("clock: %s", async (_, offSeconds, verdict, words) => {
  const { verdicts, text } = await check({ utcMs: nowMs + offSeconds * 1000 });
  expect(verdicts).toEqual(["agrees", verdict, "agrees"]);
  expect(text).toContain(words);
});

test("sidereal time: the third look, where site and clock are not told; across midnight of the stars", async () => {
  const quiet = { site: undefined, utcMs: undefined } as const;
  const { verdicts, text } = await check({ ...quiet, siderealHours: (siderealHours + 23) % 24 });
  expect(verdicts).toEqual(["not checked", "not checked", "wrong"]);
  expect(text).toContain("1.00 h behind");
  expect((await check({ ...quiet, siderealHours: (siderealHours + 24.001) % 24 })).verdicts[2]).toBe(
    "agrees",
  );
});

test("a mount that was never told, and tells nothing, is not checked, and that is said", async () => {
  const { verdicts, text } = await check({ site: undefined, utcMs: undefined, siderealHours: undefined });
  expect(verdicts).toEqual(["not checked", "not checked", "not checked"]);
  expect(text).toContain("was never told one");
});
