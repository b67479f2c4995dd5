import { htmlPage, htmlTable, tag, type Verdict } from "../outputs/page-shell.ts";
import { safeHtml } from "../outputs/safe-html.ts";
import { cautionText } from "../safing/caution.ts";
import { countStandings, type FleetRow, type Standing } from "./fleet-rows.ts";

const colours: Readonly<Record<Standing, Verdict>> = {
  "needs a person": "bad",
  silent: "bad",
  "in trouble": "usable",
  "not understood": "usable",
  "at work": "good",
  waiting: "good",
  stopped: "none",
};

const minuteOf = (utc: string) => `${utc.slice(0, 16).replace("T", " ")} UTC`;

/** One page of many rigs, which needs nothing else. @param refreshSeconds where it is written anew that often */
export function fleetPage(
  rows: readonly FleetRow[],
  facts: {
    readonly utc: string;
    readonly broker: string;
    readonly isConnected: boolean;
    readonly refreshSeconds?: number;
  },
): string {
  const table = htmlTable(
    ["rig", "how it stands", "why", "since", "covered", "last flat", "next"].map((name) => ({ name })),
    rows.map((row) => [
      `<span class="name">${safeHtml(row.rig)}</span>`,
      tag(colours[row.standing], row.standing),
      [row.because, row.whatToDo]
        .filter((text) => text !== undefined)
        .map(safeHtml)
        .join("<br>"),
      row.sinceUtc === undefined ? "" : safeHtml(minuteOf(row.sinceUtc)),
      row.covered === "proved" ? "proved" : tag("none", row.covered),
      row.flat ? safeHtml(`${row.flat.verdict}, ${minuteOf(row.flat.madeUtc)}`) : "",
      row.next ? safeHtml(`${row.next.entry}, ${minuteOf(row.next.dueUtc)}`) : "",
    ]),
    (index) => (colours[rows[index]!.standing] === "bad" ? "differs" : ""),
  );
  const body = `<header><h1>All rigs</h1>
<p class="summary">${safeHtml(countStandings(rows))}.</p>
<p>${safeHtml(`As of ${minuteOf(facts.utc)}, as ${facts.broker} has it.`)}</p></header>
${table}
<p class="caution">${cautionText}</p>`;
  const band = facts.isConnected
    ? undefined
    : "The broker is not reached just now: this is what it last said.";
  return htmlPage({ title: countStandings(rows), band, body, refreshSeconds: facts.refreshSeconds });
}
