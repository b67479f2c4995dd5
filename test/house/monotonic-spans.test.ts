import { expect, test } from "vitest";
import { codeOf, sources } from "./imports.ts";

/** Where times of day are compared by right: dates on files, in plans and in what devices say of their clocks. */
const byTimeOfDay: Readonly<Record<string, string>> = {
  "agent/commands/match.ts": "dates of files",
  "agent/commands/rehearse-schedule.ts": "of the rehearsal's clock, which nobody sets",
  "agent/commands/rehearsed-scene.ts": "the day of a rehearsal",
  "agent/commands/schedule.ts": "what is due by the Sun and the calendar",
  "agent/files/calibrate/group-frames.ts": "dates of files",
  "agent/files/calibrate/plan-calibration.ts": "dates of files",
  "agent/imaging/defocus/sky-plane.ts": "how the sky's light changes through the day",
  "agent/outputs/report-words.ts": "a finished run's length, from the record's dates",
  "agent/outputs/time-line.ts": "a finished run's dates on a chart",
  "agent/procedures/flat/response/expose-ladder.ts": "days since an earlier run measured the sensor",
  "agent/procedures/images/check-flat.ts": "age of a flat by the date in its file",
  "agent/procedures/time-span.ts": "frames against lapses of the guard, by date",
  "agent/run/checks/check-plan.ts": "planned hours of the day",
  "agent/run/checks/mount-belief.ts": "the mount's clock against ours",
  "agent/run/guard/sun-filter.ts": "days since a person looked at the filter",
  "agent/run/ledger/history.ts": "dates of files",
  "agent/run/ledger/prune-runs.ts": "days since a run, as the rig file counts them",
  "agent/run/ledger/retreats.ts": "whether a person looked at the filter after a retreat",
  "agent/run/ledger/unfinished-runs.ts": "runs in the order of their dates",
  "agent/run/steps/new-flat.ts": "planned hours of the day",
  "agent/run/steps/planned-time.ts": "planned hours of the day",
  "agent/run/steps/step-table.ts": "planned hours of the day",
  "agent/service/forecast.ts": "what is due by the Sun and the calendar",
  "agent/service/notices/choose-next.ts": "waits and rates that outlive the process",
  "agent/service/notices/notice-book.ts": "notices by their dates",
  "agent/service/notices/notice-desk.ts": "waits and rates that outlive the process",
  "agent/service/notices/quiet-hours.ts": "hours of the day",
  "agent/service/page/four-answers.ts": "whether it looked again at the time of day that it named",
  "agent/service/page/page-facts.ts": "age of a flat by its date, runs in the order of their dates",
  "agent/service/page/sun-curve.ts": "the Sun by the time of day, on a chart",
  "agent/service/rest/rest-watch.ts": "whether the computer's clock was set",
  "agent/service/schedule/agenda.ts": "what is due by the Sun and the calendar",
  "agent/service/schedule/conditions.ts": "age of a flat by its date",
  "agent/service/schedule/judge-occasion.ts": "what is due by the Sun and the calendar",
  "agent/service/schedule/moments.ts": "what is due by the Sun and the calendar",
  "agent/service/schedule/occasions.ts": "what is due by the Sun and the calendar",
  "agent/service/service-effects.ts": "what is due by the Sun and the calendar, runs by their dates",
  "drivers/indi/wire/frame-check.ts": "the camera's time stamp against ours",
};

/** Without the rehearsal's judges, whose clock is the world's: nobody sets it. */
const files = sources.filter(
  (file) => /^(agent|drivers)\//.test(file) && !/^(agent\/sky|agent\/rehearsal|drivers\/kit)\//.test(file),
);

/** A difference or comparison with a reading of the wall clock, which a step of that clock falsifies. */
const span =
  /(?:nowMs\(\)|[uU]tcMs\b)[!)]*\s*(?:-|[<>])|(?:-|(?<!=)[<>]=?)\s*\(?(?:[\w#]+[.!?]+)*(?:nowMs\(\)|\w*[uU]tcMs\b)/;

const linesOf = (file: string) => codeOf(file).split("\n");

test("spans, deadlines and ages are read from the monotonic clock", () => {
  const found = files.filter((file) => linesOf(file).some((line) => span.test(line)));
  expect(found.toSorted()).toEqual(Object.keys(byTimeOfDay).toSorted());
});

test("a reading of the wall clock is called so", () => {
  const kept = /([\w#]+)\s*(?:\?\?)?[=:](?!>)\s*(?:[\w#]+[.!?]+)*nowMs\(\)/;
  const found = files.flatMap((file) =>
    linesOf(file).flatMap((line) => {
      const name = kept.exec(line)?.[1];
      return name === undefined || /utcms$|^epochMs$/i.test(name) ? [] : [`${file}: ${line.trim()}`];
    }),
  );
  expect(found).toEqual([]);
});

test.each([
  "const seconds = (clock.nowMs() - startMs) / 1000;",
  "if (this.clock.nowMs() >= this.#untilMs) return;",
  "while (untilMs > tools.clock.nowMs()) look();",
  "const age = now - seen.measuredUtcMs;",
  "return flat.madeUtcMs! - startedUtcMs;",
])("seen as a span: %s", (line) => expect(line).toMatch(span));

test.each(["const at = () => clock.nowMs();", "measuredUtcMs: bench.clock.nowMs(),"])("no span: %s", (line) =>
  expect(line).not.toMatch(span),
);
