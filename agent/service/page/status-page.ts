import { htmlPage, htmlTable, section, tag } from "../../outputs/page-shell.ts";
import { safeHtml } from "../../outputs/safe-html.ts";
import { cautionText } from "../../safing/caution.ts";
import type { Standing } from "../schedule/judge-occasion.ts";
import { localText } from "../schedule/local-day.ts";
import { type Answer, answerFour } from "./four-answers.ts";
import type { PageFacts, PastDeed, RecordFacts } from "./page-facts.ts";
import { drawSunCurve } from "./sun-curve.ts";

const script = { path: "/page.js", renewSecondsWithout: 30 };

/** The page from the facts alone: the four questions of who is far away, what is next, what was. */
export function statusPage(facts: PageFacts, { canAct = false } = {}): string {
  const { rig, timeZone, nowUtcMs, status, records } = facts;
  const at = (utcMs: number) => localText(utcMs, timeZone);
  const { safe, working, flat, toDo } = answerFour(facts);
  const sun =
    "trouble" in records
      ? ""
      : ` The Sun is ${Math.abs(records.sunAltitudeDegrees).toFixed(1)}° ${records.sunAltitudeDegrees < 0 ? "below" : "above"} the horizon.`;
  const body = `<header><h1>${safeHtml(rig)}</h1>
<p class="summary">${safeHtml(`As of ${at(nowUtcMs)}, by the clock at the site.${sun}`)}</p></header>
${question("Is it safe?", safe)}
${question("Is it working?", working)}
${question("Is the flat good?", flat)}
${question("What must I do?", toDo)}${canAct ? '\n<p><a href="/act">Stop, hold, go on, confirm the filter</a></p>' : ""}
${"trouble" in records ? "" : section("What is next", next(records, at) + sunOf(records, nowUtcMs)) + section("What was", past(records.past, at))}
<p class="caution">${cautionText}</p>`;
  const band = status.state === "held" ? `Nothing is begun: ${status.because}.` : undefined;
  return htmlPage({ title: `${rig}: ${status.state}`, band, body, script });
}

function question(title: string, { verdict, word, lines, report }: Answer): string {
  const [first = "", ...others] = lines.map(safeHtml);
  const rest = others.map((line) => `<p>${line}</p>`).join("");
  const more = report === undefined ? "" : `<p>${link(report, "Its report")}</p>`;
  return section(title, `<p class="summary">${tag(verdict, word)} ${first}</p>${rest}${more}`);
}

function next({ next, none }: RecordFacts, at: (utcMs: number) => string): string {
  const rows = next.map(({ entry, dueUtcMs, standing }) => {
    const when = standing.state === "waiting" ? standing.untilUtcMs : dueUtcMs;
    return [at(when), entry, describeStanding(standing)];
  });
  const never = none.map(({ day, entry, because }) => [day, entry, `not that day: ${because}`]);
  const all = [...rows, ...never].toSorted((a, b) => (a[0]! < b[0]! ? -1 : a[0]! > b[0]! ? 1 : 0));
  if (all.length === 0) return "<p>Nothing of the schedule is due in the next day and a half.</p>";
  return htmlTable(
    [{ name: "when" }, { name: "entry" }, { name: "how it stands" }],
    all.map((row) => row.map(safeHtml)),
  );
}

function sunOf({ site, next: rows }: RecordFacts, nowUtcMs: number): string {
  const due = rows.map(({ entry, dueUtcMs, standing }) => {
    return { entry, utcMs: standing.state === "waiting" ? standing.untilUtcMs : dueUtcMs };
  });
  return drawSunCurve(site, nowUtcMs, due);
}

function describeStanding(standing: Standing): string {
  if (standing.state === "waiting") return standing.because;
  return standing.state === "running" ? "under way" : "due now";
}

function past(deeds: readonly PastDeed[], at: (utcMs: number) => string): string {
  if (deeds.length === 0) return "<p>No run of this rig is on record.</p>";
  return htmlTable(
    [{ name: "begun" }, { name: "what" }, { name: "how it ended" }, { name: "report" }],
    deeds.map(({ utcMs, what, ended, because, report }) => [
      safeHtml(at(utcMs)),
      safeHtml(what),
      safeHtml(because === undefined ? ended : `${ended}: ${because}`),
      report === undefined ? "" : link(report, `Report of ${at(utcMs)}`),
    ]),
  );
}

function link(path: string, text: string): string {
  return `<a href="${safeHtml(path)}">${safeHtml(text)}</a>`;
}
