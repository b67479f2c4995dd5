import { beforeEach, expect, test } from "vitest";
import type { StepFindings } from "../../../../agent/procedures/findings.ts";
import { ComputerClock } from "../../../../agent/rehearsal/computer-clock.ts";
import { clockWatch } from "../../../../agent/run/guard/clock-watch.ts";
import { Condition, type GuardWatch } from "../../../../agent/run/guard/condition.ts";
import { checkConditionsOnce, watchConditions } from "../../../../agent/run/guard/guard.ts";
import type { GuardRequest } from "../../../../agent/run/guard/guard-request.ts";
import { guardWatches, weatherWatches } from "../../../../agent/run/guard/guard-watches.ts";
import type { LapseRecord } from "../../../../agent/run/record/run-record.ts";
import { newFront } from "../../../../agent/safing/front.ts";
import { sunFromSite } from "../../../../agent/sky/sun-from-site.ts";
import type { Clock } from "../../../../drivers/kit/clock.ts";
import { VirtualClock } from "../../../../drivers/kit/virtual-clock.ts";
import { readRigFile } from "../../../../plans/rig-file.ts";
import { FakeRig } from "../fake-rig.ts";
import { forenoonUtcMs, testRigText } from "../fake-run.ts";

let clock: VirtualClock;
let rig: FakeRig;
let request: GuardRequest;
let findings: StepFindings;
let searching: boolean;
let freeMegabytes: number;
let lapses: Set<LapseRecord>;

beforeEach(() => {
  clock = new VirtualClock(forenoonUtcMs);
  rig = new FakeRig(clock);
  findings = { lightRate: {} };
  searching = false;
  freeMegabytes = 10_000;
  lapses = new Set();
  request = {
    rig: rig.open(),
    front: newFront(),
    rigFile: readRigFile(testRigText, "rig.yaml"),
    clock,
    sunAltitudeDegreesMin: 20,
    freeDiskMegabytes: () => freeMegabytes,
    findings,
    looking: () => true,
    searching: () => searching,
    searchDegrees: 2,
  };
});

/** Watches for a while. @returns what was lost, and after how many seconds */
async function watchFor(
  seconds: number,
  watches: readonly GuardWatch[] = guardWatches(request),
  watchClock: Clock = clock,
) {
  const stop = new AbortController();
  const lost: { afterSeconds: number; name: string; reason: string }[] = [];
  const startMs = clock.nowMs();
  const watch = watchConditions(
    watches,
    { clock: watchClock, signal: stop.signal },
    {
      lost: (reason, { name }) => lost.push({ afterSeconds: (clock.nowMs() - startMs) / 1000, name, reason }),
      lapse: (lapse) => lapses.add(lapse),
    },
  );
  await clock.drive(clock.sleep(seconds).then(() => stop.abort(new Error("seen enough"))));
  await clock.drive(watch);
  expect(clock.pendingTimers).toBe(0);
  return lost;
}

const at = (seconds: number, what: () => void) => clock.setTimer(seconds, what);

/** The mount on the Sun and tracking, cover open, as after centring. */
function onTheSun(): void {
  const sun = sunFromSite(clock.nowMs(), request.rigFile.site);
  rig.truth
    .get("mount")!
    .set("pointing", [sun.raHours, sun.decDegrees])
    .set("tracking", true)
    .set("parked", false);
  rig.truth.get("cover")!.set("position", "open");
  findings.sunPointing = sun;
}

test("a quiet forenoon: half an hour and nothing is lost", async () => {
  onTheSun();
  expect(await watchFor(1800)).toEqual([]);
});

test("rain is told at once; a cloud in the report is not", async () => {
  at(100, () => {
    rig.weather = "warning";
  });
  at(200, () => {
    rig.weather = "unsafe";
  });
  const lost = await watchFor(400);
  expect(lost).toMatchObject([{ name: "weather", reason: "Fake weather: weather unsafe (rain)" }]);
  expect(lost[0]!.afterSeconds).toBeGreaterThanOrEqual(200);
  expect(lost[0]!.afterSeconds).toBeLessThanOrEqual(212);
});

test.each([-8, -2, 2])(
  "the clock is set by %s h while the station is silent: its minute is a minute",
  async (hours) => {
    const computer = new ComputerClock(clock);
    const watches = weatherWatches(rig.open(), 60);
    at(100, () => rig.silent.add("weather"));
    at(110, () => computer.step(hours * 3600));
    const [lost] = await watchFor(400, watches, computer);
    expect(lost!.afterSeconds).toBeGreaterThanOrEqual(160);
    expect(lost!.afterSeconds).toBeLessThanOrEqual(180);
  },
);

test("the clock is set in mid-run: told with how much; corrections below a few seconds are none", async () => {
  const computer = new ComputerClock(clock);
  at(100, () => computer.step(4));
  at(200, () => computer.step(-4));
  expect(await watchFor(400, [clockWatch(computer)], computer)).toEqual([]);
  at(100, () => computer.step(-2 * 3600));
  const lost = await watchFor(400, [clockWatch(computer)], computer);
  expect(lost).toMatchObject([{ name: "clock" }]);
  expect(lost[0]!.reason).toContain("was set back by 2.00 h");
  expect(lost[0]!.afterSeconds).toBeLessThanOrEqual(110);
});

test("a station that says nothing for half a minute is forgiven, for more than a minute it is not", async () => {
  at(100, () => rig.silent.add("weather"));
  at(130, () => rig.silent.delete("weather"));
  expect(await watchFor(300)).toEqual([]);
  at(0, () => rig.silent.add("weather"));
  const lost = await watchFor(300);
  expect(new Set(lost.map((one) => one.name))).toEqual(new Set(["weather", "link to the weather"]));
  expect(lost[0]!.afterSeconds).toBeGreaterThanOrEqual(60);
});

test("an unknown judgement of the weather counts like silence", async () => {
  at(0, () => {
    rig.weather = "unknown";
  });
  expect(await watchFor(50)).toEqual([]);
  expect(await watchFor(100)).toMatchObject([{ name: "weather" }]);
});

test("a silent mount or cover is lost after its grace", async () => {
  at(10, () => rig.silent.add("mount").add("cover"));
  const lost = await watchFor(200);
  expect(lost.map((one) => one.name)).toEqual(
    expect.arrayContaining(["link to the mount", "link to the cover"]),
  );
  expect(Math.min(...lost.map((one) => one.afterSeconds))).toBeGreaterThanOrEqual(70);
});

test("the shutter closes over the telescope", async () => {
  at(60, () => rig.truth.get("dome")!.set("shutter", "closed"));
  expect(await watchFor(200)).toMatchObject([{ name: "dome", reason: "Fake dome: the shutter is closed" }]);
});

test("a dome that was closed from the start is none of the guard's business until it opens", async () => {
  rig.truth.get("dome")!.set("shutter", "closed");
  expect(await watchFor(200)).toEqual([]);
});

test("the Sun sinks below the limit", async () => {
  const evening = Date.UTC(2026, 5, 20, 17, 40);
  clock = new VirtualClock(evening);
  rig = new FakeRig(clock);
  request = { ...request, rig: rig.open(), clock };
  expect(sunFromSite(evening, request.rigFile.site).altitudeDegrees).toBeGreaterThan(20);
  const lost = await watchFor(3600);
  expect(lost).toMatchObject([{ name: "sun" }]);
  expect(lost[0]!.reason).toContain("below the limit of 20°");
});

test("a full disk", async () => {
  at(60, () => {
    freeMegabytes = 12;
  });
  expect(await watchFor(200)).toMatchObject([
    { name: "disk", reason: "12 MB are free on the disk, below the limit of 500 MB" },
  ]);
});

test("a mount that stops tracking with the cover open is noticed; with the cover closed it may", async () => {
  onTheSun();
  at(30, () => rig.truth.get("mount")!.set("tracking", false));
  expect(await watchFor(300)).toMatchObject([
    { name: "tracking", reason: "Fake mount: the mount has stopped tracking the Sun" },
  ]);
  rig.truth.get("cover")!.set("position", "closed");
  expect(await watchFor(300)).toEqual([]);
});

test("tracking that is lost for less than its grace is forgiven, and told with its time", async () => {
  onTheSun();
  const startMs = clock.nowMs();
  at(31, () => rig.truth.get("mount")!.set("tracking", false));
  at(62, () => rig.truth.get("mount")!.set("tracking", true));
  expect(await watchFor(300)).toEqual([]);
  const [lapse, ...others] = lapses.keys();
  expect(others).toEqual([]);
  expect(lapse).toMatchObject({
    watch: "tracking",
    reason: "Fake mount: the mount has stopped tracking the Sun",
  });
  expect(lapse!.fromUtcMs - startMs).toBeGreaterThanOrEqual(25_000); // when it was last seen to track
  expect(lapse!.fromUtcMs - startMs).toBeLessThanOrEqual(31_000);
  expect(lapse!.toUtcMs! - startMs).toBeGreaterThanOrEqual(62_000);
  expect(lapse!.toUtcMs! - startMs).toBeLessThanOrEqual(70_000);
});

test("a mount that wandered off the Sun is noticed, but not while the Sun is looked for", async () => {
  onTheSun();
  const sun = findings.sunPointing!;
  at(30, () => rig.truth.get("mount")!.set("pointing", [sun.raHours, sun.decDegrees + 1]));
  searching = true;
  expect(await watchFor(300)).toEqual([]);
  searching = false;
  const [lost] = await watchFor(300);
  expect(lost!.reason).toMatch(/points 1\.0\d° from the Sun, more than 0\.53°/);
});

test("a search may lead the open telescope off the Sun as far as it is allowed, and no further", async () => {
  const sun = sunFromSite(clock.nowMs(), request.rigFile.site);
  searching = true;
  onTheSun();
  findings.sunPointing = undefined as never;
  at(30, () => rig.truth.get("mount")!.set("pointing", [sun.raHours, sun.decDegrees + 3]));
  expect(await watchFor(300)).toEqual([]);
  at(30, () => rig.truth.get("mount")!.set("pointing", [sun.raHours, sun.decDegrees + 3.2]));
  const [lost] = await watchFor(300);
  expect(lost!.reason).toMatch(/points 3\.\d\d° from the Sun, more than 3\.06°, uncovered/);
  expect(lost!.afterSeconds).toBeLessThanOrEqual(45);
});

test("a single report from elsewhere is looked at a second time", async () => {
  onTheSun();
  const sun = findings.sunPointing!;
  const place = (decDegrees: number) =>
    rig.truth.get("mount")!.set("pointing", [sun.raHours, sun.decDegrees + decDegrees]);
  at(29.5, () => place(40));
  at(31, () => place(0));
  expect(await watchFor(300)).toEqual([]);
});

test("a closed cover that is told to close once more may call itself moving; one that goes on moving opens", async () => {
  request.front.expectedClosed = true;
  request.front.covered = { proved: true, by: "the cover's report" };
  const cover = rig.truth.get("cover")!;
  at(100, () => cover.set("position", "moving"));
  at(103, () => cover.set("position", "closed"));
  expect(await watchFor(200)).toEqual([]);
  expect(request.front.covered.proved).toBe(true);
  at(100, () => cover.set("position", "moving"));
  const [lost] = await watchFor(200);
  expect(lost).toMatchObject({ name: "cover", reason: expect.stringContaining("this run did not open it") });
  expect(lost!.afterSeconds).toBeLessThan(108);
  expect(request.front.covered.proved).toBe(false);
});

test("a telescope that was found open and elsewhere, and is not on the Sun yet, is nobody's concern", async () => {
  searching = true;
  rig.truth.get("cover")!.set("position", "open");
  expect(await watchFor(300)).toEqual([]);
});

test("a mount that stops tracking while the Sun is searched for is noticed", async () => {
  onTheSun();
  searching = true;
  at(30, () => rig.truth.get("mount")!.set("tracking", false));
  expect((await watchFor(300))[0]!.reason).toContain("stopped tracking");
});

test("the pointing error that centring found is no wandering", async () => {
  onTheSun();
  const sun = findings.sunPointing!;
  rig.truth.get("mount")!.set("pointing", [sun.raHours, sun.decDegrees + 1]);
  findings.pointingError = { eastArcsec: 0, northArcsec: 3600 };
  expect(await watchFor(300)).toEqual([]);
});

test("a station that takes half a minute to answer is waited for, and is heard when it says rain", async () => {
  const { weather } = rig.open();
  const state = weather!.state.bind(weather);
  const slow = {
    ...weather!,
    state: async (signal: AbortSignal) => clock.sleep(30, signal).then(() => state(signal)),
  };
  const watches = weatherWatches({ ...rig.open(), weather: slow }, 60);
  expect(await watchFor(300, watches)).toEqual([]);
  at(100, () => {
    rig.weather = "unsafe";
  });
  const [lost] = await watchFor(300, watches);
  expect(lost!.reason).toContain("weather unsafe");
  expect(lost!.afterSeconds).toBeLessThanOrEqual(180);
});

test("a station that answers no more is lost when its silence is over, not before", async () => {
  const { weather } = rig.open();
  const mute = { ...weather!, state: () => new Promise<never>(() => {}) };
  const lost = await watchFor(200, weatherWatches({ ...rig.open(), weather: mute }, 60));
  expect(lost).toMatchObject([{ name: "weather", afterSeconds: 60 }]);
});

test("two conditions are lost one after the other: both are told", async () => {
  onTheSun();
  at(30, () => rig.truth.get("dome")!.set("shutter", "closed"));
  at(90, () => {
    rig.weather = "unsafe";
  });
  at(150, () => rig.truth.get("mount")!.set("tracking", false));
  expect((await watchFor(300)).map(({ name }) => name)).toEqual(["dome", "weather", "tracking"]);
});

test("the watch ends with its signal, however many conditions are lost before", async () => {
  const stop = new AbortController();
  let ended = false;
  rig.weather = "unsafe";
  const watch = watchConditions(guardWatches(request), { clock, signal: stop.signal }, { lost() {} });
  void watch.then(() => {
    ended = true;
  });
  await clock.drive(clock.sleep(100));
  expect(ended).toBe(false);
  stop.abort(new Error("seen enough"));
  await clock.drive(watch);
});

test("the Sun filter's statement runs out while the Sun is looked at", async () => {
  const day = new Date(forenoonUtcMs).toISOString().slice(0, 10);
  const sunFilter = { ...request.rigFile.sunFilter, lastConfirmed: day, confirmAgainAfterDays: 1 };
  let looking = false;
  request = { ...request, rigFile: { ...request.rigFile, sunFilter }, looking: () => looking };
  const [filter] = guardWatches(request).filter(({ name }) => name === "Sun filter");
  expect(await watchFor(40 * 3600, [filter!])).toEqual([]); // in the night nobody looks
  looking = true;
  const [lost] = await watchFor(60, [filter!]);
  expect(lost!.reason).toContain("has to be confirmed again after 1 days");
});

test("a check that never answers counts as a broken condition", async () => {
  const mute: GuardWatch = {
    name: "mute",
    everySeconds: 5,
    graceSeconds: 60,
    check: () => new Promise(() => {}),
  };
  const lost = await watchFor(200, [mute]);
  expect(lost).toMatchObject([{ name: "mute", reason: "mute: the guard's look did not end within 60.0 s" }]);
});

test("before anything moves, a station may take its minute for the first report, rain may not", async () => {
  rig.weather = "unknown";
  at(40, () => {
    rig.weather = "safe";
  });
  const tools = { clock, signal: new AbortController().signal };
  expect(await clock.drive(checkConditionsOnce(guardWatches(request), tools))).toEqual([]);
  rig.weather = "unsafe";
  expect(await clock.drive(checkConditionsOnce(guardWatches(request), tools))).toEqual([
    "Fake weather: weather unsafe (rain)",
  ]);
});

test("what is left of a silence is never too little for the clock to tell: looks do not go round without end", async () => {
  let seconds = 0;
  const still = { nowMs: () => forenoonUtcMs, monotonicSeconds: () => seconds } as Clock;
  const watch: GuardWatch = {
    name: "weather",
    everySeconds: 10,
    graceSeconds: 60,
    check: () => Promise.reject(new Error("gone")),
  };
  const timers = { setTimer: () => ({ cancel: () => {} }), hold: <T>(work: Promise<T>) => work };
  const condition = new Condition(watch, { ...still, ...timers } as unknown as Clock, () => {});
  expect(await condition.look(new AbortController().signal)).toBeUndefined();
  seconds = 60 - 1e-12;
  expect(condition.pauseSeconds).toBeGreaterThanOrEqual(0.05);
  expect(seconds + condition.pauseSeconds).toBeGreaterThan(60);
});
