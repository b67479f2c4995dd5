import { beforeEach, expect, test } from "vitest";
import { readBaseline } from "../../../../agent/run/ledger/baseline.ts";
import type { BaselineEntry } from "../../../../agent/run/record/run-record.ts";
import { restoreBaseline } from "../../../../agent/run/restoring/restore.ts";
import { type Front, newFront } from "../../../../agent/safing/front.ts";
import { sunFromSite } from "../../../../agent/sky/sun-from-site.ts";
import { DeadlineError } from "../../../../drivers/kit/errors.ts";
import { silentLog } from "../../../../drivers/kit/log.ts";
import { VirtualClock } from "../../../../drivers/kit/virtual-clock.ts";
import type { SettingValue } from "../../../../drivers/roles/device.ts";
import type { RoleName } from "../../../../drivers/roles/roles.ts";
import { FakeRig } from "../fake-rig.ts";
import { forenoonUtcMs } from "../fake-run.ts";

const site = { latitudeDegrees: 52.1, longitudeDegrees: -1.4, elevationMetres: 110 };
let clock: VirtualClock;
let rig: FakeRig;
let baseline: readonly BaselineEntry[];
let keepCovered: readonly string[];
let retreatedBecause: readonly string[];
let weather: string | undefined;
let front: Front;

beforeEach(async () => {
  clock = new VirtualClock(forenoonUtcMs);
  rig = new FakeRig(clock);
  keepCovered = [];
  retreatedBecause = [];
  weather = undefined;
  front = newFront();
  await take();
});

async function take(): Promise<void> {
  baseline = await clock.drive(readBaseline(rig.open(), new AbortController().signal));
}

function change(role: RoleName, changes: Record<string, SettingValue>): void {
  for (const [key, value] of Object.entries(changes)) rig.truth.get(role)!.set(key, value);
}

/** As after a flat: everything is otherwise than it was found. */
function changeAll(): void {
  change("camera", { gain: 0, offset: 5, binning: 1, region: [0, 0, 100, 100], connected: true });
  change("mount", { pointing: [5, 20], tracking: true, parked: false });
  change("cover", { position: "open" });
  change("diffuser", { position: "closed" });
  change("focuser", { position: 9500 });
  change("wheel", { slot: 1 });
  change("rotator", { angle: 31 });
  change("dome", { azimuth: 180, shutter: "open" });
}

const restore = async (devices = rig.open()) => (await restoreRig(devices)).settings;

const restoreRig = (devices = rig.open()) =>
  clock.drive(
    restoreBaseline({
      rig: devices,
      site,
      front,
      findings: { lightRate: {} },
      retreatedBecause,
      baseline,
      clock,
      log: silentLog,
      signal: new AbortController().signal,
      whyKeepCovered: async () => keepCovered,
      weatherAgainst: async () => weather,
    }),
  );

test("everything goes back in the safe order: camera, cover, diffuser, focuser, wheel, rotator, mount, dome, links", async () => {
  const before = rig.account();
  changeAll();
  const records = await restore();
  expect(records.every((record) => record.state === "same")).toBe(true);
  expect(rig.account()).toEqual(before);
  const order = [
    "camera stops",
    "cover.position",
    "diffuser.position",
    "focuser.position",
    "wheel.slot",
    "rotator.angle",
  ];
  const places = [...order, "mount.pointing", "dome.azimuth", "camera.connected"].map((what) =>
    rig.told.findIndex((line) => line.startsWith(what)),
  );
  expect(places).toEqual(places.toSorted((a, b) => a - b));
  expect(places[0]).toBe(0);
});

test("a rig that is as it was is only read", async () => {
  const records = await restore();
  expect(records.every((record) => record.state === "same")).toBe(true);
  expect(rig.told.every((line) => line.endsWith("stops"))).toBe(true);
});

test("a cover found open is opened last, when all else is back", async () => {
  change("cover", { position: "open" });
  await take();
  changeAll();
  await restore();
  const moves = rig.told.filter((line) => line.startsWith("cover.position"));
  expect(moves).toEqual(["cover.position = closed", "cover.position = open"]);
  expect(rig.told.indexOf("cover.position = open")).toBeGreaterThan(rig.told.indexOf("dome.azimuth = 90"));
});

test("it stays closed when that is not safe, or when something could not be put back", async () => {
  change("cover", { position: "open" });
  await take();
  changeAll();
  keepCovered = ["it was not safe (rain)"];
  const kept = (await restore()).filter((record) => record.state !== "same");
  expect(kept).toMatchObject([
    {
      role: "cover",
      state: "keptSafe",
      after: "closed",
      why: "left closed: the telescope is not uncovered: it was not safe (rain)",
    },
  ]);
  keepCovered = [];
  changeAll();
  rig.stuck.add("focuser.position");
  const left = (await restore()).filter((record) => record.state !== "same");
  expect(left).toMatchObject([
    { role: "focuser", state: "different" },
    { role: "cover", state: "keptSafe" },
  ]);
});

test("a setting that does not take is tried again, within limits, and listed with both values", async () => {
  changeAll();
  rig.stuck.add("wheel.slot");
  const left = (await restore()).filter((record) => record.state !== "same");
  expect(left).toEqual([
    {
      role: "wheel",
      device: "Fake wheel",
      key: "slot",
      before: 2,
      after: 1,
      state: "different",
      why: "reads 1 after it was put back",
    },
  ]);
});

test("a setting that takes only when it is told the third time is back", async () => {
  changeAll();
  rig.stuck.add("wheel.slot");
  let tries = 0;
  const devices = rig.open();
  const wheel = new Proxy(devices.wheel!, {
    get(target, key) {
      if (key === "restoreSetting" && ++tries === 3) rig.stuck.delete("wheel.slot");
      return Reflect.get(target, key);
    },
  });
  expect((await restore({ ...devices, wheel })).every((record) => record.state === "same")).toBe(true);
  expect(tries).toBe(3);
});

test("a device that comes back after half a minute is put back all the same", async () => {
  const before = rig.account();
  changeAll();
  rig.silent.add("focuser");
  clock.setTimer(30, () => rig.silent.delete("focuser"));
  expect((await restore()).every((record) => record.state === "same")).toBe(true);
  expect(rig.account()).toEqual(before);
});

test("a device that is gone is listed setting by setting, and all the others are back", async () => {
  changeAll();
  rig.silent.add("mount");
  const left = (await restore()).filter((record) => record.state !== "same");
  expect(left.map((record) => `${record.role}.${record.key}`)).toEqual([
    "mount.pointing",
    "mount.tracking",
    "mount.parked",
    "mount.connected",
  ]);
  expect(rig.get("wheel", "slot")).toBe(2);
});

test("a setting that another one drags along is put back in the second look", async () => {
  const before = rig.account();
  changeAll();
  rig.afterChange = (what) => {
    if (what === "rotator.angle") change("camera", { offset: 77 }); // turning resets the camera's offset
  };
  expect((await restore()).every((record) => record.state === "same")).toBe(true);
  expect(rig.account()).toEqual(before);
});

test("a device that has left the rig file is listed", async () => {
  baseline = [
    ...baseline,
    { role: "focuser", device: "Old focuser", setting: { key: "position", value: 1 } },
  ];
  const left = (await restore()).filter((record) => record.state !== "same");
  expect(left).toMatchObject([
    { device: "Old focuser", state: "different", why: "the rig has no such device now" },
  ]);
});

const rain = "Fake weather: weather unsafe (rain)";

test("rain: a shutter and a cover found open are closed, the shutter first of all, and that is no failure", async () => {
  change("cover", { position: "open" });
  await take();
  changeAll();
  weather = rain;
  const kept = (await restore()).filter((record) => record.state !== "same");
  const why = `left closed because of the weather (${rain})`;
  expect(kept).toMatchObject([
    { role: "cover", key: "position", before: "open", after: "closed", state: "keptSafe", why },
    { role: "dome", key: "shutter", before: "open", after: "closed", state: "keptSafe", why },
  ]);
  const shut = rig.told.indexOf("dome.shutter = closed");
  expect(shut).toBeGreaterThan(rig.told.indexOf("cover.position = closed"));
  expect(shut).toBeLessThan(rig.told.indexOf("focuser.position = 9000"));
  expect(rig.told).not.toContain("dome.shutter = open");
});

test("rain that begins while the rest is put back closes shutter and cover all the same", async () => {
  change("cover", { position: "open" });
  await take();
  changeAll();
  rig.afterChange = (what) => {
    if (what === "wheel.slot") weather = rain;
  };
  await restore();
  expect([rig.get("dome", "shutter"), rig.get("cover", "position")]).toEqual(["closed", "closed"]);
});

test("rain and a shutter or a cover that does not close: the rig is not restored, and that is said", async () => {
  change("cover", { position: "open" });
  await take();
  changeAll();
  weather = rain;
  rig.stuck.add("dome.shutter").add("cover.position");
  const notSame = (await restore()).filter((record) => record.state !== "same");
  expect(notSame.filter(({ state }) => state === "keptSafe").map(({ role }) => role)).toEqual([
    "mount",
    "mount",
  ]);
  const left = notSame.filter(({ state }) => state === "different");
  expect(left).toMatchObject([
    { role: "cover", after: "open", state: "different" },
    { role: "dome", key: "shutter", after: "open", state: "different" },
  ]);
  for (const { why } of left) expect(why).toContain("could not be closed");
});

test("a shutter that somebody else has closed meanwhile is never opened by restoring, nor a dome unparked", async () => {
  changeAll();
  change("dome", { azimuth: 5, shutter: "closed", parked: true });
  const kept = (await restore()).filter((record) => record.state !== "same");
  expect(kept.map(({ role, key, state }) => [role, key, state])).toEqual([
    ["dome", "azimuth", "keptSafe"],
    ["dome", "shutter", "keptSafe"],
    ["dome", "parked", "keptSafe"],
  ]);
  expect(rig.told.filter((line) => line.startsWith("dome.") && line.includes("="))).toEqual([]);
});

test("a shutter found half way is closed", async () => {
  change("dome", { shutter: "unknown" });
  expect((await restore()).filter((record) => record.state !== "same")).toMatchObject([
    { role: "dome", key: "shutter", after: "closed", state: "keptSafe" },
  ]);
});

test("a roof closes over a parked telescope: in rain the mount is parked first and stays so", async () => {
  change("mount", { parked: false, tracking: true });
  await take();
  changeAll();
  weather = rain;
  const devices = rig.open();
  const abilities = { shutter: true, azimuth: false, park: true };
  const roof = { ...devices.dome!, abilities };
  const kept = (await restore({ ...devices, dome: roof })).filter((record) => record.state !== "same");
  expect(kept.map(({ role, key, state }) => [role, key, state])).toContainEqual([
    "mount",
    "parked",
    "keptSafe",
  ]);
  expect(kept.every(({ state }) => state === "keptSafe")).toBe(true);
  expect(rig.get("mount", "parked")).toBe(true);
  expect(rig.told.indexOf("mount.parked = true")).toBeLessThan(rig.told.indexOf("dome.shutter = closed"));
  expect(rig.get("dome", "shutter")).toBe("closed");
});

test("what changes while the cover opens is put back behind it, and the cover opened after that", async () => {
  change("cover", { position: "open" });
  await take();
  changeAll();
  let isFirst = true;
  rig.afterChange = (what) => {
    if (what !== "cover.position" || rig.get("cover", "position") !== "open" || !isFirst) return;
    isFirst = false;
    change("mount", { pointing: [8, 40], tracking: true, parked: false });
  };
  expect((await restore()).every((record) => record.state === "same")).toBe(true);
  expect(rig.get("mount", "pointing")).toEqual([3.1, 12]);
  const moves = rig.told.filter((line) => /^(cover.position|mount.pointing)/.test(line));
  expect(moves.slice(-3)).toEqual([
    "cover.position = closed",
    "mount.pointing = 3.1,12",
    "cover.position = open",
  ]);
});

test("what changes each time the cover opens is told", async () => {
  change("cover", { position: "open" });
  await take();
  rig.afterChange = (what) => {
    if (what === "cover.position" && rig.get("cover", "position") === "open") change("wheel", { slot: 3 });
  };
  change("cover", { position: "closed" });
  const left = (await restore()).filter((record) => record.state !== "same");
  expect(left).toMatchObject([
    {
      role: "wheel",
      key: "slot",
      before: 2,
      after: 3,
      state: "different",
      why: "it changed after it was put back",
    },
  ]);
});

test("a mount is not pointed at the Sun again where a frame should have shown the cover closed and could not", async () => {
  const sun = sunFromSite(forenoonUtcMs, site);
  change("mount", { pointing: [sun.raHours, sun.decDegrees], tracking: true, parked: false });
  await take();
  change("mount", { pointing: [sun.raHours, sun.decDegrees + 30], tracking: false });
  front.unseen = "the covered frame could not be taken";
  const kept = (await restore()).filter((record) => record.state !== "same");
  expect(kept.map(({ role, key, state }) => [role, key, state])).toEqual([
    ["mount", "pointing", "keptSafe"],
    ["mount", "tracking", "keptSafe"],
  ]);
  expect(kept[0]!.why).toContain("not proved to be covered by more than the cover's report");
  expect(rig.told.some((line) => line.startsWith("mount.pointing"))).toBe(false);
});

test("after a retreat the mount is turned off the Sun before anything is put back, though the cover is closed", async () => {
  changeAll();
  change("cover", { position: "closed" });
  await restore();
  const place = (line: string) => rig.told.findIndex((one) => one.startsWith(line));
  expect(place("mount.pointing")).toBeGreaterThan(place("diffuser.position"));

  change("mount", { pointing: [5, 20], tracking: true, parked: false });
  change("diffuser", { position: "closed" });
  rig.told.length = 0;
  retreatedBecause = ["rain"];
  await restore();
  expect(place("mount.pointing")).toBeGreaterThanOrEqual(0);
  expect(place("mount.pointing")).toBeLessThan(place("diffuser.position"));
});

test("a cover that falls silent before the mount goes back: nothing of the telescope moves, and each setting is listed", async () => {
  changeAll();
  rig.afterChange = (what) => {
    if (what.startsWith("rotator")) rig.silent.add("cover");
  };
  const records = await restore();
  expect(records).toHaveLength(baseline.length);
  const mount = records.filter(({ role, state }) => role === "mount" && state === "different");
  expect(mount.map(({ why }) => why)).toContainEqual(expect.stringContaining("not moved"));
  expect(rig.told.some((line) => line.startsWith("mount.pointing"))).toBe(false);
});

test("a device that fails slowly does not keep the rest for hours, and what was not tried is told", async () => {
  changeAll();
  const devices = rig.open();
  let tries = 0;
  devices.camera.restoreSetting = async () => {
    tries++;
    await clock.sleep(80);
    throw new DeadlineError("Fake camera", "setting", 80);
  };
  const startedSeconds = clock.monotonicSeconds();
  const records = await restore(devices);
  expect(clock.monotonicSeconds() - startedSeconds).toBeLessThan(900);
  // Two settings three times each, and the connection once.
  expect(tries).toBe(7);
  const ofCamera = records.filter(({ role, state }) => role === "camera" && state === "different");
  expect(ofCamera).toHaveLength(5);
  expect(ofCamera.filter(({ why }) => why?.startsWith("not tried any more"))).toHaveLength(2);
  expect(records.filter(({ role }) => role !== "camera").every(({ state }) => state === "same")).toBe(true);
});

test("a cover that does not close is tried twice, and not once for each part of the telescope", async () => {
  changeAll();
  rig.stuck.add("cover.position");
  const startedSeconds = clock.monotonicSeconds();
  const { safety } = await restoreRig();
  expect(safety).toMatchObject({ covered: { proved: false }, offSun: true });
  expect(clock.monotonicSeconds() - startedSeconds).toBeLessThan(400);
});
