import { expect, test } from "vitest";
import { type OpenConditions, watchConditions } from "../../../../agent/service/notices/watch-conditions.ts";
import type { ServiceStatus } from "../../../../agent/service/service-status.ts";

type Plain = Omit<ServiceStatus, "sinceUtcMs">;
const standingBy: Plain = { state: "standing by", because: "the next thing, flat, is due" };
const held: Plain = {
  state: "held",
  because: "the filter was inspected 91 days ago",
  whatToDo: "Inspect it.",
};
const unreached: Plain = { state: "recovering", because: "…", trouble: "the server hut does not answer" };

/** What is told of these states, one after the other. */
function told(statuses: readonly Plain[], open: OpenConditions = {}): readonly string[] {
  const lines: string[] = [];
  let now = open;
  for (const status of statuses) {
    const { open: next, notices } = watchConditions(now, { ...status, sinceUtcMs: 0 }, 0);
    now = next;
    lines.push(...notices.map(({ kind, phase, text }) => `${kind} ${phase}: ${text}`));
  }
  return lines;
}

test("a condition is told when it begins and when it ends, and not in between", () => {
  expect(told([standingBy, held, held, standingBy, standingBy])).toEqual([
    "person-needed begins: The filter was inspected 91 days ago.",
    "person-needed ends: Nothing is held any more; the schedule goes on. It was: the filter was inspected 91 days ago.",
  ]);
});

test("another reason for the same is told; what is tried again by itself is not told each time", () => {
  const later = { ...held, because: "the filter was inspected 92 days ago" };
  expect(told([held, later])).toHaveLength(2);
  expect(told([unreached, { ...unreached, trouble: "refused after 5.1 s" }])).toEqual([
    "rig-not-reached begins: The rig can't be worked with: the server hut does not answer.",
  ]);
});

test("a service that begins, ends or puts the rig back does not say that anything is over", () => {
  const open = { "person-needed": "a trip", "rig-not-reached": "no server", "file-refused": "a line" };
  for (const state of ["starting", "stopping", "recovering"] as const)
    expect(told([{ state, because: "…" }], open)).toEqual([]);
  expect(told([standingBy], open)).toHaveLength(3);
});

test("a restart in the middle of a hold tells nothing anew", () => {
  const open = { "person-needed": held.because };
  expect(
    told([{ state: "starting", because: "…" }, { state: "recovering", because: "…" }, held], open),
  ).toEqual([]);
});

test("between runs each thing that is not as it should be is told by itself; what can't be seen ends nothing", () => {
  const row = (
    what: "cover" | "weather" | "rig",
    verdict: "as it should be" | "not so" | "not known",
    text = "…",
  ) => ({ what, verdict, text }) as const;
  const at = (...rest: NonNullable<Plain["rest"]>) => ({ ...standingBy, rest });
  expect(
    told([
      at(row("cover", "as it should be"), row("weather", "not so", "wind 14 m/s")),
      at(row("cover", "not so", "it reads open"), row("weather", "not so", "wind 15 m/s")),
      at(row("rig", "not known", "it could not be looked at: no answer")),
      standingBy,
      at(row("cover", "not known"), row("weather", "as it should be")),
    ]),
  ).toEqual([
    "not-at-rest begins: Weather: wind 14 m/s.",
    "not-at-rest begins: Cover: it reads open.",
    "not-at-rest begins: The rig: it could not be looked at: no answer.",
    "not-at-rest ends: It is as it should be again. It was: weather: wind 14 m/s.",
    "not-at-rest ends: It is as it should be again. It was: the rig: it could not be looked at: no answer.",
  ]);
});

test("a file that can't be used is told while nothing else is wrong, and while a person is needed", () => {
  for (const status of [standingBy, held])
    expect(
      told([{ ...status, fileTrouble: "s.yaml:3: …" }, status]).filter((line) => /^file/.test(line)),
    ).toEqual([
      "file-refused begins: A changed file can't be used, and the one before it is kept: s.yaml:3: ….",
      "file-refused ends: The changed file is in use. It was: a changed file can't be used, and the one before it is kept: s.yaml:3: ….",
    ]);
});
