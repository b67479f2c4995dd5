import { expect, test } from "vitest";
import type { DrillRecord } from "../../../../agent/run/ledger/drills.ts";
import { answerFour } from "../../../../agent/service/page/four-answers.ts";
import { formatMetrics, states } from "../../../../agent/service/page/metrics.ts";
import type { PageFacts, RecordFacts } from "../../../../agent/service/page/page-facts.ts";
import { statusPage } from "../../../../agent/service/page/status-page.ts";
import type { ServiceStatus } from "../../../../agent/service/service-status.ts";

const nowUtcMs = Date.UTC(2026, 6, 14, 10);
const hourMs = 3_600_000;

const records: RecordFacts = {
  site: { latitudeDegrees: 47, longitudeDegrees: 8, elevationMetres: 500, timeZone: "Europe/Zurich" },
  sunAltitudeDegrees: 54.32,
  next: [
    {
      entry: "evening",
      occasion: "2026-07-14",
      dueUtcMs: nowUtcMs + 8 * hourMs,
      lateUtcMs: nowUtcMs + 9 * hourMs,
      standing: {
        state: "waiting",
        untilUtcMs: nowUtcMs + 8 * hourMs,
        because: "it is not due yet",
      },
    },
  ],
  none: [{ entry: "high", day: "2026-07-15", because: "the Sun rises to 64.1° at most" }],
  lastFlat: {
    verdict: "good",
    madeUtcMs: nowUtcMs - 3 * hourMs,
    ageSeconds: 10_800,
    report: "/runs/a/report.html",
  },
  left: {
    endedUtcMs: nowUtcMs - 2 * hourMs,
    covered: { proved: true, by: "a dark frame" },
    cover: "closed",
  },
  past: [{ utcMs: nowUtcMs - 3 * hourMs, what: "morning: <b>flat</b>", ended: "completed" }],
  endings: new Map([
    ["done", 12],
    ["safety", 3],
  ]),
  drills: [],
};

function factsOf(status: Partial<ServiceStatus>, changed: Partial<RecordFacts> = {}): PageFacts {
  const calm = { state: "standing by", sinceUtcMs: nowUtcMs - hourMs, because: "evening is due" } as const;
  return {
    rig: "garden",
    timeZone: "Europe/Zurich",
    nowUtcMs,
    status: { ...calm, ...status },
    records: { ...records, ...changed },
    residentBytes: 1e8,
  };
}

const shortly = (facts: PageFacts) => {
  const { safe, working, flat, toDo } = answerFour(facts);
  return [safe, working, flat, toDo].map(({ word }) => word);
};

test.each<[string, PageFacts, string[]]>([
  ["standing by", factsOf({}), ["covered", "yes", "good", "nothing"]],
  ["starting", factsOf({ state: "starting" }), ["covered", "yes", "good", "nothing"]],
  ["running", factsOf({ state: "running" }), ["watched", "yes", "good", "nothing"]],
  ["recovering", factsOf({ state: "recovering" }), ["not known", "recovering", "good", "nothing"]],
  ["stopping", factsOf({ state: "stopping" }), ["covered", "stopping", "good", "nothing"]],
  ["held", factsOf({ state: "held", whatToDo: "Look." }), ["covered", "held", "good", "act now"]],
  [
    "a file with a fault",
    factsOf({ fileTrouble: "s.yaml:3: no" }),
    ["covered", "standing by", "good", "when you can"],
  ],
  ["long past its time", factsOf({ untilUtcMs: nowUtcMs - hourMs }), ["covered", "no", "good", "nothing"]],
  [
    "a cover that reads open at the end",
    factsOf({}, { left: { ...records.left!, cover: "open" } }),
    ["not proved", "yes", "good", "act now"],
  ],
  [
    "a frame that could not be taken",
    factsOf(
      {},
      {
        left: {
          endedUtcMs: nowUtcMs,
          covered: { proved: true, by: "the cover's report", unseen: "the camera is gone" },
          cover: "closed",
        },
      },
    ),
    ["not proved", "yes", "good", "act now"],
  ],
  [
    "not covered",
    factsOf({}, { left: { endedUtcMs: nowUtcMs, covered: { proved: false, why: "it is stuck" } } }),
    ["not proved", "yes", "good", "act now"],
  ],
  [
    "a bad flat",
    factsOf({}, { lastFlat: { verdict: "bad", madeUtcMs: nowUtcMs, ageSeconds: 0 } }),
    ["covered", "yes", "bad", "when you can"],
  ],
  [
    "a ledger that can't be read",
    { ...factsOf({}), records: { trouble: "The ledger is damaged. Restore it." } },
    ["not known", "no", "not known", "when you can"],
  ],
])("%s: the four answers", (_, facts, words) => {
  expect(shortly(facts)).toEqual(words);
  const page = statusPage(facts);
  const order = ["Is it safe?", "Is it working?", "Is the flat good?", "What must I do?"];
  const at = order.map((title) => page.indexOf(`<h2>${title}</h2>`));
  expect(at.every((place) => place > 0)).toBe(true);
  expect(at).toEqual(at.toSorted((a, b) => a - b));
});

test("a rig that nothing is known of is not called safe", () => {
  const { left: _, lastFlat: __, ...unknown } = records;
  const facts = { ...factsOf({}), records: { ...unknown, past: [], next: [], none: [] } };
  expect(shortly(facts)).toEqual(["not known", "yes", "no flat", "nothing"]);
  expect(statusPage(facts)).toContain("No run of this rig is on record.");
});

test("what the records say is text on the page, never markup; times are those of the site's clock", () => {
  const page = statusPage(factsOf({ state: "held", because: `"<script>alert(1)</script>`, whatToDo: "<i>" }));
  expect(page.replace('<script src="/page.js" defer></script>', "")).not.toMatch(/<script|<i>|<b>flat/);
  expect(page).toContain("morning: &lt;b&gt;flat&lt;/b&gt;");
  expect(page).toContain("2026-07-14 20:00");
  expect(page).toContain("not that day: the Sun rises to 64.1° at most");
  expect(page).toContain("54.3° above the horizon");
});

test("what was seen between runs goes before how the last run left it", () => {
  const row = (verdict: "as it should be" | "not so", text: string) => [
    { what: "cover" as const, verdict, text },
  ];
  const closed = answerFour(factsOf({ rest: row("as it should be", "it reads closed") })).safe;
  expect(closed).toMatchObject({
    verdict: "good",
    lines: [/covered when the last run ended/, "Since then it still reads closed."].map((line) =>
      typeof line === "string" ? line : expect.stringMatching(line),
    ),
  });
  const open = factsOf({ rest: row("not so", "it reads open, and it points 3° from the Sun") });
  expect(shortly(open)).toEqual(["not proved", "yes", "good", "act now"]);
  expect(answerFour(open).safe.lines[0]).toBe(
    "The cover is not closed: it reads open, and it points 3° from the Sun.",
  );
});

test("the last drill is a line: passed with whom, failed of what, or not on record", () => {
  const part = (part: DrillRecord["part"], passed = true): DrillRecord => {
    return { utcMs: nowUtcMs, part, passed, text: "the cover read open", present: "S. Example" };
  };
  const lineOf = (drills: readonly DrillRecord[]) => answerFour(factsOf({}, { drills })).working.lines.at(-1);
  expect(lineOf([])).toBe("No drill is on record for: agent killed, link cut, terminal closed.");
  const all = [part("agent killed"), part("link cut"), part("terminal closed")];
  expect(lineOf(all)).toBe("The drill was passed at 2026-07-14 12:00, with S. Example at the telescope.");
  expect(lineOf([part("agent killed"), part("link cut", false)])).toBe(
    "The drill failed at 2026-07-14 12:00, link cut: the cover read open.",
  );
});

test("a run under way says step and time left", () => {
  const progress = { stepIndex: 1, stepCount: 4, what: "flat frames", done: 12, of: 64, secondsLeft: 185 };
  const { lines } = answerFour(factsOf({ state: "running", progress })).working;
  expect(lines[1]).toBe("Step 2 of 4, flat frames: 12 of 64, about 3:05 min left of it.");
});

test.each(states)("metrics of the state %s: it alone is 1", async (state) => {
  const { text, contentType } = await formatMetrics(factsOf({ state }));
  expect(contentType).toMatch(/^text\/plain/);
  const on = [...text.matchAll(/^evenfield_state\{state="([^"]+)",rig="garden"\} 1$/gm)].map(
    ([, one]) => one,
  );
  expect(on).toEqual([state]);
  expect(text).toContain('evenfield_attempts_total{ended="safety",rig="garden"} 3');
  expect(text).toContain('evenfield_last_flat_age_seconds{rig="garden"} 10800');
});

test("metrics leave out what can't be read", async () => {
  const { text } = await formatMetrics({ ...factsOf({}), records: { trouble: "gone" } });
  expect(text).toContain('evenfield_records_readable{rig="garden"} 0');
  expect(text).not.toMatch(/sun_altitude|attempts|last_flat/);
});
