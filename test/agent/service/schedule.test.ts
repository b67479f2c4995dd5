import { expect, test } from "vitest";
import { type AgendaRow, composeAgenda, nextDeed } from "../../../agent/service/schedule/agenda.ts";
import type { Attempt } from "../../../agent/service/schedule/attempts.ts";
import { judgeConditions } from "../../../agent/service/schedule/conditions.ts";
import { findOccasions } from "../../../agent/service/schedule/occasions.ts";
import { readSchedule } from "../../../plans/schedule-file.ts";

const zurich = {
  latitudeDegrees: 46.5,
  longitudeDegrees: 9.8,
  elevationMetres: 1720,
  timeZone: "Europe/Zurich",
};
const farNorth = {
  latitudeDegrees: 78.2,
  longitudeDegrees: 15.6,
  elevationMetres: 0,
  timeZone: "Arctic/Longyearbyen",
};

const entriesOf = (...entries: string[]) =>
  readSchedule(
    `schedule: s\nentries:\n${entries.map((one, index) => `  - { entry: e${index + 1}, plan: p.yaml, ${one} }\n`).join("")}`,
    "s.yaml",
  );
const utc = (text: string) => Date.parse(`${text}:00Z`);

function dueOn(entry: string, from: string, to: string, site = zurich): string[] {
  const span = { fromUtcMs: utc(from), toUtcMs: utc(to) };
  return findOccasions(entriesOf(entry).entries, site, span).occasions.map(({ dueUtcMs }) =>
    new Date(dueUtcMs).toISOString().slice(0, 16),
  );
}

test("a time that the clocks skip is as much later, and one that comes twice is due once", () => {
  const at = 'when: { localTime: "02:30" }';
  expect(dueOn(at, "2026-03-28T12:00", "2026-03-30T12:00")).toEqual(["2026-03-29T01:30", "2026-03-30T00:30"]);
  expect(dueOn(at, "2026-10-24T12:00", "2026-10-26T12:00")).toEqual(["2026-10-25T00:30", "2026-10-26T01:30"]);
});

test("every so many hours counts hours that pass: one fewer in spring, one more in autumn", () => {
  const at = 'when: { everyHours: 1, fromLocalTime: "00:00", untilLocalTime: "06:00" }';
  expect(dueOn(at, "2026-03-28T20:00", "2026-03-29T20:00")).toHaveLength(6);
  expect(dueOn(at, "2026-10-24T20:00", "2026-10-25T20:00")).toHaveLength(8);
});

test("a window past midnight belongs to the day on which it begins", () => {
  const at = 'when: { everyHours: 2, fromLocalTime: "22:00", untilLocalTime: "02:00" }, onDays: [friday]';
  expect(dueOn(at, "2026-05-01T00:00", "2026-05-04T00:00")).toEqual([
    "2026-05-01T20:00",
    "2026-05-01T22:00",
    "2026-05-02T00:00",
  ]);
});

test("polar day and polar night: nothing is due, and why is said", () => {
  const span = (day: string) => ({ fromUtcMs: utc(`${day}T00:00`), toUtcMs: utc(`${day}T20:00`) });
  const { entries } = entriesOf("when: { sunSetsPastDegrees: 5 }", "when: { minutesFromTransit: 0 }");
  const summer = findOccasions(entries, farNorth, span("2026-06-21"));
  expect(summer.none).toEqual([
    { entry: "e1", day: "2026-06-21", because: "the Sun stays above 5° all day" },
  ]);
  expect(summer.occasions.map(({ entry }) => entry)).toEqual(["e2"]);
  const winter = findOccasions(entries, farNorth, span("2026-12-21"));
  expect(winter.none[0]!.because).toMatch(/^the Sun rises to -1\d\.\d° at most$/);
});

test("what the Sun crosses after midnight belongs to the day of its transit", () => {
  const summerNight = { ...farNorth, latitudeDegrees: 66.5, longitudeDegrees: 15 };
  const { entries } = entriesOf("when: { sunSetsPastDegrees: 1 }");
  const span = { fromUtcMs: utc("2026-06-20T12:00"), toUtcMs: utc("2026-06-21T12:00") };
  const [set] = findOccasions(entries, summerNight, span).occasions;
  expect(new Date(set!.dueUtcMs).toISOString().slice(0, 11)).toBe("2026-06-20T");
  expect(set!.dueUtcMs).toBeGreaterThan(utc("2026-06-20T22:00")); // past midnight by the clock
  expect(set!.occasion).toBe("2026-06-20");
});

test("the leap day is a day like others: it is counted, it can be named, and no other year has it", () => {
  const every = 'when: { localTime: "12:00" }, onDays: { everyDays: 2, countedFrom: 2028-02-27 }';
  expect(dueOn(every, "2028-02-26T00:00", "2028-03-05T00:00").map((text) => text.slice(5, 10))).toEqual([
    "02-27",
    "02-29",
    "03-02",
    "03-04",
  ]);
  const named = 'when: { localTime: "12:00" }, onDays: { dates: [2028-02-29] }';
  expect(dueOn(named, "2027-02-25T00:00", "2028-03-05T00:00")).toEqual(["2028-02-29T11:00"]);
});

function agendaAt(now: string, schedule: ReturnType<typeof entriesOf>, attempts: readonly Attempt[] = []) {
  const nowUtcMs = utc(now);
  const span = { fromUtcMs: nowUtcMs - 86_400_000, toUtcMs: nowUtcMs + 86_400_000 };
  const agenda = composeAgenda({ schedule, site: zurich, attempts, nowUtcMs, sinceUtcMs: 0, ...span });
  return { ...agenda, next: nextDeed(agenda, span.toUtcMs) };
}

const attempt = (more: Partial<Attempt> & Pick<Attempt, "occasion">): Attempt => ({
  entry: "e1",
  dueUtcMs: 0,
  begunUtcMs: 0,
  ...more,
});

test("two entries at once: the first of the file begins; the other waits, and is left out when that takes too long", () => {
  const at = 'when: { localTime: "12:00" }, lateMinutesMax: 30';
  const schedule = entriesOf(at, at);
  const begun = { begunUtcMs: utc("2026-05-01T10:00") };
  const one = attempt({ occasion: "2026-05-01", ...begun });
  const refusedYesterday = ["e1", "e2"].map((entry) =>
    attempt({ entry, occasion: "2026-04-30", ended: "refused", endedUtcMs: 1 }),
  );
  const first = agendaAt("2026-05-01T10:00", schedule, refusedYesterday);
  expect(first.next).toMatchObject({ deed: "begin", row: { entry: "e1", occasion: "2026-05-01" } });
  const done = { ...one, ended: "done" as const };
  const soon = agendaAt("2026-05-01T10:25", schedule, [
    ...refusedYesterday,
    { ...done, endedUtcMs: utc("2026-05-01T10:25") },
  ]);
  expect(soon.next).toMatchObject({ deed: "begin", row: { entry: "e2" } });
  const late = agendaAt("2026-05-01T10:31", schedule, [
    ...refusedYesterday,
    { ...done, endedUtcMs: utc("2026-05-01T10:31") },
  ]);
  expect(late.next).toMatchObject({
    deed: "refuse",
    row: { entry: "e2" },
    because: "e2 was left out: it may begin 30 minutes late at most, and was not begun by then",
  });
});

test("midnight in mid-run: the run stays that of its day, and the new day's begins after it", () => {
  const schedule = entriesOf(
    'when: { localTime: "00:10" }, lateMinutesMax: 20',
    'when: { localTime: "23:50" }',
  );
  const before = attempt({ entry: "e2", occasion: "2026-05-01", begunUtcMs: utc("2026-05-01T21:50") });
  const others = [
    attempt({ occasion: "2026-05-01", ended: "done", endedUtcMs: 1 }),
    attempt({ entry: "e2", occasion: "2026-04-30", ended: "done", endedUtcMs: 1 }),
  ];
  const standing = (rows: readonly AgendaRow[], entry: string, occasion: string) =>
    rows.find((row) => row.entry === entry && row.occasion === occasion)?.standing.state;
  const during = agendaAt("2026-05-01T22:15", schedule, [...others, before]);
  expect(standing(during.rows, "e2", "2026-05-01")).toBe("running");
  expect(standing(during.rows, "e1", "2026-05-02")).toBe("due");
  const ended = { ...before, ended: "done" as const, endedUtcMs: utc("2026-05-01T22:20") };
  expect(agendaAt("2026-05-01T22:21", schedule, [...others, ended]).next).toMatchObject({
    deed: "begin",
    row: { entry: "e1", occasion: "2026-05-02" },
  });
});

test("asked at the very crossing again, a Sun moment that is done is not due a second time", () => {
  const schedule = entriesOf("when: { sunRisesPastDegrees: 20 }");
  const { rows } = agendaAt("2026-05-01T12:00", schedule);
  const due = rows.find(({ occasion }) => occasion === "2026-05-01")!.dueUtcMs;
  const done = attempt({ occasion: "2026-05-01", ended: "done", endedUtcMs: due + 1 });
  const agenda = composeAgenda({
    schedule,
    site: zurich,
    attempts: [done],
    nowUtcMs: due + 40,
    sinceUtcMs: 0,
    fromUtcMs: due - 3_600_000,
    toUtcMs: due + 86_400_000 / 2,
  });
  expect(agenda.rows.map(({ standing }) => standing.state)).toEqual(["ended"]);
});

test("again: after the wait, so many times, in time, and only after failures that are named", () => {
  const again = "again: { timesMost: 1, afterMinutes: 20, afterFailures: [safety] }";
  const schedule = entriesOf(`when: { localTime: "12:00" }, lateMinutesMax: 60, ${again}`);
  const yesterday = attempt({ occasion: "2026-04-30", ended: "done", endedUtcMs: 1 });
  const failed = (ended: Attempt["ended"], minute: string) =>
    attempt({ occasion: "2026-05-01", ended: ended!, endedUtcMs: utc(`2026-05-01T10:${minute}`) });
  const next = (now: string, ...attempts: Attempt[]) =>
    agendaAt(now, schedule, [yesterday, ...attempts]).next;
  expect(next("2026-05-01T10:11", failed("safety", "10"))).toMatchObject({
    deed: "wait",
    untilUtcMs: utc("2026-05-01T10:30"),
    because: "the next thing, e1, is tried again",
  });
  expect(next("2026-05-01T10:30", failed("safety", "10"))).toMatchObject({ deed: "begin" });
  for (const [now, ...attempts] of [
    ["2026-05-01T10:59", failed("safety", "10"), failed("safety", "35")],
    ["2026-05-01T10:59", failed("safety", "41")], // 11:01 would be too late
    ["2026-05-01T10:59", failed("nothing-made", "10")],
    ["2026-05-01T10:59", failed("not-restored", "10")],
  ] as const)
    expect(next(now, ...attempts)).toMatchObject({ deed: "wait", untilUtcMs: utc("2026-05-02T10:00") });
});

test("after another entry: once that is not tried again, and has ended in one of the ways", () => {
  const schedule = entriesOf(
    'when: { localTime: "12:00" }, again: { timesMost: 1, afterMinutes: 20 }',
    "when: { afterEntry: e1, endedAs: [safety], minutesLater: 5 }",
  );
  const yesterday = attempt({ occasion: "2026-04-30", ended: "done", endedUtcMs: 1 });
  const failed = (minute: string) =>
    attempt({ occasion: "2026-05-01", ended: "safety", endedUtcMs: utc(`2026-05-01T10:${minute}`) });
  const dues = (...attempts: Attempt[]) =>
    agendaAt("2026-05-01T10:45", schedule, [yesterday, ...attempts]).rows.filter(
      ({ entry }) => entry === "e2",
    );
  expect(dues(failed("05"))).toEqual([]);
  expect(dues(failed("05"), failed("30"))).toMatchObject([
    { occasion: "2026-05-01", dueUtcMs: utc("2026-05-01T10:35"), standing: { state: "due" } },
  ]);
});

test("of an entry that is due again already, the earlier time is left out", () => {
  const schedule = entriesOf(
    'when: { everyHours: 1, fromLocalTime: "12:00", untilLocalTime: "14:00" }, lateMinutesMax: 120, onDays: [friday]',
  );
  const { rows, next } = agendaAt("2026-05-01T11:05", schedule);
  expect(rows.map(({ standing }) => standing.state)).toEqual(["missed", "due", "waiting"]);
  expect(next).toMatchObject({ deed: "refuse", because: "e1 was left out: the next time is due already" });
});

test("conditions: one that holds is enough, and what can't be known keeps nothing from beginning", () => {
  const now = utc("2026-05-03T12:00");
  const flat = { trainMark: "a", madeUtcMs: utc("2026-05-01T12:00"), verdict: "good" };
  const judge = (conditions: Parameters<typeof judgeConditions>[0], trainMark?: string, flats = [flat]) =>
    judgeConditions(conditions, { trainMark, flats }, now).holds;
  expect(judge(["train-changed"], "a")).toBe(false);
  expect(judge(["train-changed"], "b")).toBe(true);
  expect(judge(["train-changed"])).toBe("unknown");
  expect(judge(["train-changed"], "a", [])).toBe(true);
  expect(judge(["train-changed", { lastFlatOlderThanHours: 47 }], "a")).toBe(true);
  expect(judge([{ lastFlatOlderThanHours: 49 }], "a")).toBe(false);
  expect(judge(["last-verdict-not-good"], "a", [{ ...flat, verdict: "usable" }])).toBe(true);
  expect(judge(["no-kept-flat"], "a", [{ ...flat, verdict: "bad" }])).toBe(true);
  expect(judge(["no-kept-flat"], "a")).toBe(false);
  expect(judge(undefined)).toBe(true);
});
