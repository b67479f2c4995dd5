import { colours } from "./charts/chart.ts";
import { safeHtml } from "./safe-html.ts";

export type Verdict = "good" | "usable" | "bad" | "none";

/** One proved number, as the report shows it. */
export interface ReportFigure {
  readonly name: string;
  readonly value: string;
  readonly uncertainty?: string | undefined;
  readonly threshold?: string | undefined;
  readonly verdict: Verdict;
  readonly advice: string;
}

export interface ReportPicture {
  readonly wide?: boolean;
  readonly title: string;
  readonly caption: string;
  /** PNG bytes. */
  readonly png: Uint8Array;
  /** SVG elements in the picture's own pixels, drawn over it. */
  readonly overlay?:
    | { readonly widthPx: number; readonly heightPx: number; readonly svg: string }
    | undefined;
}

export interface ReportChart {
  readonly title: string;
  readonly caption: string;
  readonly svg: string;
  readonly wide?: boolean;
}

export interface ReportInput {
  readonly title: string;
  readonly verdict: Verdict;
  /** One or two sentences: what was done and what it is worth. */
  readonly summary: string;
  readonly facts: readonly (readonly [name: string, value: string])[];
  readonly reasons: readonly string[];
  readonly figures: readonly ReportFigure[];
  readonly pictures: readonly ReportPicture[];
  /** How wrong the flat may be; none without a flat. */
  readonly errors: readonly ReportChart[];
  readonly charts: readonly ReportChart[];
  /** One line per dust shadow, in the order of their marks. */
  readonly dust: readonly string[];
  /** How the result compares with the scene's true values; only after a rehearsal. */
  readonly truth?: readonly (readonly [name: string, value: string, judgement: string])[] | undefined;
  /** How the images were held against the flat in use, in order. */
  readonly checks?: readonly {
    readonly clock: string;
    readonly afterImages: number;
    readonly flat: string;
    readonly says: string;
    readonly verdict: Verdict;
    readonly text: string;
  }[];
  readonly notes: readonly { readonly clock: string; readonly text: string }[];
  readonly settings: readonly {
    readonly device: string;
    readonly key: string;
    readonly before: string;
    readonly after: string;
    readonly same: boolean;
  }[];
}

const verdictWords: Record<Verdict, string> = {
  good: "good",
  usable: "usable",
  bad: "bad",
  none: "no flat",
};

function pictureFigure(picture: ReportPicture): string {
  const source = `data:image/png;base64,${picture.png.toBase64()}`;
  const over = picture.overlay;
  const overlay = over
    ? `<svg class="over" viewBox="0 0 ${over.widthPx} ${over.heightPx}" aria-hidden="true">${over.svg}</svg>`
    : "";
  return `<figure${picture.wide ? ' class="wide"' : ""}><div class="frame"><img alt="${safeHtml(picture.title)}" src="${source}">${overlay}</div>
<figcaption><b>${safeHtml(sentence(picture.title))}</b> ${safeHtml(picture.caption)}</figcaption></figure>`;
}

function chartFigure(chart: ReportChart): string {
  return `<figure class="chart${chart.wide ? " wide" : ""}">${chart.svg}
<figcaption><b>${safeHtml(sentence(chart.title))}</b> ${safeHtml(chart.caption)}</figcaption></figure>`;
}

/** A question has its mark already. */
function sentence(title: string): string {
  return title.endsWith("?") ? title : `${title}.`;
}

function figureRow(figure: ReportFigure): string {
  const value =
    safeHtml(figure.value) + (figure.uncertainty ? ` <small>± ${safeHtml(figure.uncertainty)}</small>` : "");
  return `<tr><td>${safeHtml(figure.name)}</td><td class="n">${value}</td><td class="n">${safeHtml(figure.threshold ?? "")}</td>
<td><span class="tag ${figure.verdict}">${verdictWords[figure.verdict]}</span></td><td>${safeHtml(figure.advice)}</td></tr>`;
}

function section(title: string, body: string): string {
  return body ? `<section><h2>${title}</h2>${body}</section>` : "";
}

function list(items: readonly string[]): string {
  return items.length ? `<ul>${items.map((item) => `<li>${safeHtml(item)}</li>`).join("")}</ul>` : "";
}

function truthTable(rows: ReportInput["truth"]): string {
  if (!rows?.length) return "";
  const body = rows
    .map(
      ([name, value, judgement]) =>
        `<tr><td>${safeHtml(name)}</td><td class="n">${safeHtml(value)}</td><td>${safeHtml(judgement)}</td></tr>`,
    )
    .join("");
  return `<p>This was a rehearsal: the simulated rig knows its own pattern exactly, so the result can be held against it.</p>
<table><tbody>${body}</tbody></table>`;
}

function checksTable(checks: NonNullable<ReportInput["checks"]>): string {
  if (!checks.length) return "";
  const rows = checks
    .map(
      (
        one,
      ) => `<tr><td class="n">${safeHtml(one.clock)}</td><td class="n">${one.afterImages}</td><td>${safeHtml(one.flat)}</td>
<td><span class="tag ${one.verdict}">${safeHtml(one.says)}</span></td><td>${safeHtml(one.text)}</td></tr>`,
    )
    .join("");
  return `<table><thead><tr><th class="n">UTC</th><th class="n">images</th><th>flat</th><th>it</th><th>what was seen</th></tr></thead>
<tbody>${rows}</tbody></table>`;
}

function settingsTable(settings: ReportInput["settings"]): string {
  if (!settings.length) return "";
  const changed = settings.filter((setting) => !setting.same).length;
  const line =
    changed === 0
      ? `All ${settings.length} settings read the same before and after.`
      : `${changed} of ${settings.length} settings differ from before.`;
  const rows = [...settings]
    .sort((a, b) => Number(a.same) - Number(b.same))
    .map(
      (s) => `<tr class="${s.same ? "" : "differs"}"><td>${safeHtml(s.device)}</td><td>${safeHtml(s.key)}</td>
<td class="n">${safeHtml(s.before)}</td><td class="n">${safeHtml(s.after)}</td></tr>`,
    )
    .join("");
  return `<p>${line}</p><details${changed ? " open" : ""}><summary>Every setting</summary>
<table><thead><tr><th>device</th><th>setting</th><th class="n">before</th><th class="n">after</th></tr></thead><tbody>${rows}</tbody></table></details>`;
}

const style = `
:root{color-scheme:light}
*{box-sizing:border-box}
body{margin:0;background:#f6f3ec;color:${colours.ink};font:16px/1.5 "Iowan Old Style","Palatino Linotype",Palatino,Georgia,serif}
main{max-width:1060px;margin:0 auto;padding:0 24px 64px}
header{border-bottom:3px double ${colours.faint};padding:36px 0 18px;margin-bottom:12px}
h1{font-size:30px;margin:0 0 6px;font-weight:600}
h2{font-size:20px;margin:36px 0 10px;font-weight:600}
.summary{font-size:18px;max-width:46em;margin:8px 0}
.tag{display:inline-block;padding:0 10px;border-radius:4px;color:#fff;font:600 13px/22px system-ui,sans-serif;white-space:nowrap}
h1 .tag{font-size:17px;line-height:30px;vertical-align:4px;margin-left:10px}
.good{background:${colours.good}}.usable{background:${colours.usable}}.bad{background:${colours.bad}}.none{background:${colours.faint}}
dl{display:grid;grid-template-columns:repeat(auto-fit,minmax(210px,1fr));gap:8px 24px;margin:16px 0;font-size:15px}
dt{color:#5d6772;font-size:13px}dd{margin:0}
.grid{display:grid;grid-template-columns:repeat(auto-fit,minmax(440px,1fr));gap:22px}
figure{margin:0}.wide{grid-column:1/-1}
.frame{position:relative;background:#111;border-radius:3px;overflow:hidden}
.frame img{display:block;width:100%}.over{position:absolute;inset:0;width:100%;height:100%}
.chart{background:#fffdf9;border:1px solid #e4ddcf;border-radius:3px;padding:10px 12px}
.chart svg{display:block;width:100%;height:auto;font-family:system-ui,sans-serif}
figcaption{font-size:14px;color:#4a5561;margin-top:6px}
table{border-collapse:collapse;width:100%;font-size:15px}
td,th{text-align:left;padding:5px 12px 5px 0;border-bottom:1px solid #e0d9cb;vertical-align:top}
th{font-size:13px;color:#5d6772;font-weight:500}.n{text-align:right;white-space:nowrap;font-variant-numeric:tabular-nums}
td.n{font-family:system-ui,sans-serif;font-size:14px}
.differs td{background:#f7e3df}
.log{font-size:14px;columns:2;column-gap:32px;padding:0;list-style:none}.log time{font-family:system-ui,sans-serif;font-size:13px;color:#5d6772;margin-right:8px}
.log li{break-inside:avoid}
.caution{border-left:4px solid ${colours.bad};padding:6px 14px;background:#fffdf9;font-size:14px;margin-top:40px}
@media (max-width:520px){.grid{grid-template-columns:1fr}.log{columns:1}}
`;

export const cautionText =
  "Never look at the Sun through any instrument or finder without a filter made for it and fitted over the front. " +
  "Nobody's eye belongs at an eyepiece, finder or diagonal while the mount is driven by a program. " +
  "The filter maker's guidance and the local rules come first.";

/** The whole report as one HTML file that needs nothing else: pictures and charts are inside it. */
export function reportPage(input: ReportInput): string {
  const facts = input.facts
    .map(([name, value]) => `<div><dt>${safeHtml(name)}</dt><dd>${safeHtml(value)}</dd></div>`)
    .join("");
  const figures = input.figures.length
    ? `<table><thead><tr><th>figure</th><th class="n">value</th><th class="n">good if</th><th>verdict</th><th>what it means</th></tr></thead>
<tbody>${input.figures.map(figureRow).join("")}</tbody></table>`
    : "";
  const notes = input.notes.length
    ? `<ol class="log">${input.notes.map((n) => `<li><time>${safeHtml(n.clock)}</time>${safeHtml(n.text)}</li>`).join("")}</ol>`
    : "";
  const grid = (parts: readonly string[]) =>
    parts.length ? `<div class="grid">${parts.join("\n")}</div>` : "";
  return `<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width,initial-scale=1">
<title>${safeHtml(input.title)}: ${verdictWords[input.verdict]}</title><style>${style}</style></head>
<body><main>
<header><h1>${safeHtml(input.title)}<span class="tag ${input.verdict}">${verdictWords[input.verdict]}</span></h1>
<p class="summary">${safeHtml(input.summary)}</p>${list(input.reasons)}<dl>${facts}</dl></header>
${grid(input.pictures.map(pictureFigure))}
${section("How wrong can the flat be?", grid(input.errors.map(chartFigure)))}
${section("What the numbers say", figures)}
${section("Dust", list(input.dust))}
${section("Against the truth", truthTable(input.truth))}
${section("Does the flat still fit?", checksTable(input.checks ?? []))}
${section("Charts", grid(input.charts.map(chartFigure)))}
${section("The run, minute by minute", notes)}
${section("The rig, before and after", settingsTable(input.settings))}
<p class="caution">${cautionText}</p>
</main></body></html>
`;
}
