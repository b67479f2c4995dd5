import { expect, test } from "vitest";
import { timeLineBars, timeLineNotes } from "../../../agent/outputs/time-line.ts";

test("notes tell the time of day and give values with their units", () => {
  const utcMs = Date.UTC(2026, 5, 21, 10, 3, 9);
  const notes = timeLineNotes({
    timeline: [
      { utcMs, event: "device", fields: { role: "camera" } },
      {
        utcMs,
        event: "exposure tuned",
        fields: { stepIndex: 2, exposureSeconds: 0.34651, edgeFraction: 0.8498, arcsecPerPx: 2.62 },
      },
    ],
  });
  expect(notes).toEqual([
    { clock: "10:03:09", text: "exposure tuned: exposure 0.3465 s, edge 84.98 %, scale 2.62 ″/px" },
  ]);
});

test("tables stay in the events file, and what has parts is told part by part", () => {
  const [note] = timeLineNotes({
    timeline: [
      {
        utcMs: 0,
        event: "out of focus",
        fields: { leftover: [{ sidePx: 4, rms: 0.0008 }], sharpnessFrom: { above: 0.013894321, below: 0.5 } },
      },
    ],
  });
  expect(note!.text).toBe("out of focus: sharpness from above 0.01389 below 0.5");
});

test("bars count from the start of the run", () => {
  const step = { stepIndex: 0, options: {}, startedUtcMs: 5000, endedUtcMs: 65_000 };
  expect(
    timeLineBars({ startedUtcMs: 1000, steps: [{ ...step, kind: "centre", ended: "completed" }] }),
  ).toEqual([{ name: "centre", startSeconds: 4, endSeconds: 64, ended: "completed" }]);
});
