import { expect, test } from "vitest";
import { rigState, rigStateOf } from "../../../../agent/service/notices/rig-state.ts";
import type { PageFacts } from "../../../../agent/service/page/page-facts.ts";

const facts: PageFacts = {
  rig: "hut",
  timeZone: "UTC",
  nowUtcMs: Date.parse("2026-07-14T10:00:00Z"),
  status: { state: "standing by", sinceUtcMs: 0, because: "the next thing, flat, is due" },
  records: {
    site: { latitudeDegrees: 47, longitudeDegrees: 8, elevationMetres: 500, timeZone: "Europe/Zurich" },
    sunAltitudeDegrees: 40,
    next: [{ entry: "flat", occasion: "o", dueUtcMs: 0, standing: { state: "due" } }],
    none: [],
    past: [],
    endings: new Map(),
    left: { endedUtcMs: 0, covered: { proved: true, by: "a dark frame" } },
  } as unknown as PageFacts["records"],
  residentBytes: 0,
};

test("what is shown is what is read back, and what is wrong at rest is trouble", () => {
  const rest = [
    { what: "cover", verdict: "not so", text: "it reads open" },
    { what: "dome", verdict: "not known", text: "no answer" },
  ] as const;
  const state = rigStateOf({ ...facts, status: { ...facts.status, rest } });
  expect(rigState.parse(JSON.parse(JSON.stringify(state)))).toEqual(state);
  expect(state).toMatchObject({ covered: true, trouble: "cover: it reads open", next: { entry: "flat" } });
  expect(rigStateOf(facts)).not.toHaveProperty("trouble");
});

test("while something is done with the rig nobody says that it is covered; records that can't be read say nothing", () => {
  const running = { ...facts.status, state: "running" } as const;
  expect(rigStateOf({ ...facts, status: running })).not.toHaveProperty("covered");
  const unread = rigStateOf({ ...facts, records: { trouble: "the ledger is gone" } });
  expect(unread).not.toHaveProperty("covered");
  expect(unread).not.toHaveProperty("next");
});
