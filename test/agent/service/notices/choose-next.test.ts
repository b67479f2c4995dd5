import { expect, test } from "vitest";
import { chooseNext, retrySeconds, type Waiting } from "../../../../agent/service/notices/choose-next.ts";
import { quietUntil } from "../../../../agent/service/notices/quiet-hours.ts";
import { type NoticeKind, type Receiver, readNotices } from "../../../../plans/notices-file.ts";

const zone = "Europe/Zurich";
const at = (text: string) => Date.parse(text);
const noon = at("2026-07-14T10:00:00Z");

function receiver(more = ""): Receiver {
  return readNotices(`notices: n\nto:\n  - { name: me, by: { command: [tell] }${more} }\n`, "n.yaml").to[0]!;
}

const waiting = (id: number, kind: NoticeKind, notBeforeUtcMs = 0): Waiting => ({
  notice: { id, rig: "r", utcMs: 0, kind, phase: "happened", text: "." },
  tries: 0,
  notBeforeUtcMs,
});

function chosen(one: Receiver, list: readonly Waiting[], sent: readonly number[] = [], nowUtcMs = noon) {
  const choice = chooseNext(one, list, sent, nowUtcMs, zone);
  return "send" in choice ? choice.send.notice.id : new Date(choice.lookUtcMs).toISOString().slice(0, 16);
}

test("the most urgent goes first, and of those the oldest; what has to wait keeps nothing up", () => {
  const list = [
    waiting(1, "run-done"),
    waiting(2, "not-safe"),
    waiting(3, "not-safe"),
    waiting(4, "not-restored", noon + 1),
  ];
  expect(chosen(receiver(), list)).toBe(2);
  expect(chosen(receiver(", kinds: [run-done]"), list)).toBe(1);
  expect(chooseNext(receiver(), [], [], noon, zone)).toEqual({ lookUtcMs: Number.POSITIVE_INFINITY });
});

test("past the rate it waits until the oldest of the last hour is an hour old", () => {
  const slow = receiver(", perHourMost: 2");
  const minutesAgo = (minutes: number) => noon - minutes * 60_000;
  expect(chosen(slow, [waiting(1, "run-done")], [minutesAgo(61), minutesAgo(10)])).toBe(1);
  expect(chosen(slow, [waiting(1, "run-done")], [minutesAgo(50), minutesAgo(10)])).toBe("2026-07-14T10:10");
});

test("a clock that was set back by years makes nothing wait for years", () => {
  expect(chosen(receiver(), [waiting(1, "run-done", noon + 3_600_001)])).toBe(1);
});

test("in quiet hours only what may break them goes; the rest goes when they end", () => {
  const quiet = receiver(', quiet: { fromLocalTime: "22:00", untilLocalTime: "07:00" }');
  const night = at("2026-07-14T21:30:00Z"); // 23:30 there
  expect(chosen(quiet, [waiting(1, "run-done")], [], night)).toBe("2026-07-15T05:00");
  expect(chosen(quiet, [waiting(1, "run-done"), waiting(2, "person-needed")], [], night)).toBe(2);
  expect(chosen(quiet, [waiting(1, "run-done")], [], at("2026-07-15T04:59:00Z"))).toBe("2026-07-15T05:00");
  expect(chosen(quiet, [waiting(1, "run-done")], [], at("2026-07-15T05:00:00Z"))).toBe(1);
});

test("quiet hours are those of the clock at the site, in the nights in which it is changed too", () => {
  const hours = { fromLocalTime: "22:00", untilLocalTime: "07:00", butFor: [] };
  const until = (utc: string) => new Date(quietUntil(hours, "run-done", at(utc), zone)!).toISOString();
  // Europe's rule: on the last Sundays of March and October at 01:00 UTC.
  expect(until("2026-03-29T00:30:00Z")).toBe("2026-03-29T05:00:00.000Z");
  expect(until("2026-10-25T00:30:00Z")).toBe("2026-10-25T06:00:00.000Z");
  expect(quietUntil(hours, "run-done", noon, zone)).toBeUndefined();
});

test("tries are further and further apart, up to an hour", () => {
  expect([0, 1, 2, 7, 8, 100].map(retrySeconds)).toEqual([15, 30, 60, 1920, 3600, 3600]);
});
