import { expect, test } from "vitest";
import { fleetPage } from "../../../agent/fleet/fleet-page.ts";
import { countStandings, fleetRows, type RigOnBroker } from "../../../agent/fleet/fleet-rows.ts";
import { fleetTable } from "../../../agent/fleet/fleet-table.ts";
import type { RigState } from "../../../agent/service/notices/rig-state.ts";

const stateOf = (rig: string, more: Partial<RigState> = {}): RigState => ({
  rig,
  utc: "2026-07-14T10:00:00.000Z",
  state: "standing by",
  because: "the next thing, flat, is due",
  sinceUtc: "2026-07-14T09:00:00.000Z",
  ...more,
});

const rigs: readonly RigOnBroker[] = [
  { rig: "a-stopped", present: "stopped", state: stateOf("a-stopped") },
  { rig: "b-waits", present: "yes", state: stateOf("b-waits", { covered: true }) },
  {
    rig: "c-works",
    present: "yes",
    state: stateOf("c-works", {
      state: "running",
      because: "flat is carried out",
      progress: { what: "flat", done: 3, of: 40 },
    }),
  },
  { rig: "d-garbled", present: "yes", trouble: "what it says can't be read" },
  {
    rig: "e-trouble",
    present: "yes",
    state: stateOf("e-trouble", { state: "recovering", trouble: "no server" }),
  },
  {
    rig: "f-lost",
    present: "lost",
    state: stateOf("f-lost", { state: "running", because: "flat is carried out", covered: true }),
  },
  {
    rig: "g-held",
    present: "yes",
    state: stateOf("g-held", { state: "held", because: "a trip", whatToDo: "Look.", covered: false }),
  },
  { rig: "h-never-there", state: stateOf("h-never-there") },
];

test("those that need somebody stand first; a silent one is not believed to be covered or to have a next thing", () => {
  const rows = fleetRows(rigs);
  expect(rows.map(({ rig, standing, covered }) => `${rig}: ${standing}, ${covered}`)).toEqual([
    "g-held: needs a person, not proved",
    "f-lost: silent, not known",
    "h-never-there: silent, not known",
    "e-trouble: in trouble, not known",
    "d-garbled: not understood, not known",
    "c-works: at work, not known",
    "b-waits: waiting, proved",
    "a-stopped: stopped, not known",
  ]);
  expect(countStandings(rows)).toBe(
    "8 rigs: needs a person 1, silent 2, in trouble 1, not understood 1, at work 1, waiting 1, stopped 1",
  );
  expect(rows[3]!.because).toBe("no server; the next thing, flat, is due");
  expect(rows[5]!.because).toBe("flat is carried out: flat, 3 of 40");
});

test("what a rig says of itself is text, on the page and in a terminal", () => {
  const because = '<script>alert(1)</script> & "x" \u001b[2J';
  const rows = fleetRows([{ rig: "r", present: "yes", state: stateOf("r", { because }) }]);
  const page = fleetPage(rows, { utc: "2026-07-14T10:00:00.000Z", broker: "mqtt://h", isConnected: false });
  expect(page).not.toContain("<script>");
  expect(page).toContain("&lt;script&gt;alert(1)&lt;/script&gt; &amp; &quot;x&quot;");
  expect(page).toContain("The broker is not reached just now");
  expect(fleetTable(rows)).not.toContain("\u001b");
});

test("no rig at all is said", () => {
  expect(fleetTable([])).toBe("0 rigs: none.");
});
