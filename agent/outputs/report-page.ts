import { cautionText } from "../safing/caution.ts";
import { htmlPage, htmlTable, section, tag, type Verdict, verdictWords } from "./page-shell.ts";
import { safeHtml } from "./safe-html.ts";
import { withSigma } from "./with-sigma.ts";

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
  /** What black and white stand for, in words; drawn as a bar of greys. */
  readonly greys?: { readonly black: string; readonly white: string };
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

/** A shadow of dust; sizes and depth with one sigma. */
export interface ReportDust {
  readonly xPx: number;
  readonly yPx: number;
  readonly diameterPx: number;
  readonly diameterSigmaPx: number;
  /** A share of the level. */
  readonly depth: number;
  readonly depthSigma: number;
  readonly distanceMm?: number;
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
  /** In the order of their marks. */
  readonly dust: readonly ReportDust[];
  /** What was rehearsed, where no hardware was there: it stands over everything. */
  readonly rehearsal?: string | undefined;
  /** Files beside the page. */
  readonly links?: readonly string[];
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

function pictureFigure(picture: ReportPicture): string {
  const source = `data:image/png;base64,${picture.png.toBase64()}`;
  const over = picture.overlay;
  const overlay = over
    ? `<svg class="over" viewBox="0 0 ${over.widthPx} ${over.heightPx}" aria-hidden="true">${over.svg}</svg>`
    : "";
  const { greys } = picture;
  const bar = greys
    ? `<div class="greys"><span>${safeHtml(greys.black)}</span><i></i><span>${safeHtml(greys.white)}</span></div>`
    : "";
  const alt = `${picture.title}: ${picture.caption}`;
  return `<figure${picture.wide ? ' class="wide"' : ""}><div class="frame"><img alt="${safeHtml(alt)}" src="${source}">${overlay}</div>${bar}
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

function figuresTable(figures: readonly ReportFigure[]): string {
  return htmlTable(
    [
      { name: "figure" },
      { name: "value", isNumber: true },
      { name: "good if", isNumber: true },
      { name: "verdict" },
      { name: "what to do" },
    ],
    figures.map((figure) => [
      safeHtml(figure.name),
      safeHtml(figure.value) +
        (figure.uncertainty ? ` <small>± ${safeHtml(figure.uncertainty)}</small>` : ""),
      safeHtml(figure.threshold ?? ""),
      tag(figure.verdict, verdictWords[figure.verdict]),
      figure.verdict === "good" ? "" : safeHtml(figure.advice),
    ]),
  );
}

const shadowsFirst = 10;

/** The deepest ones; the others are folded away. */
function dustTable(dust: readonly ReportDust[]): string {
  const numbered = dust.map((shadow, index) => ({ ...shadow, number: index + 1 }));
  const byDepth = numbered.toSorted((a, b) => b.depth - a.depth);
  const first = dustRows(byDepth.slice(0, shadowsFirst));
  const more = byDepth.slice(shadowsFirst);
  if (more.length === 0) return first;
  return `${first}<details class="onscreen"><summary>${more.length} shallower ones</summary>${dustRows(more)}</details>`;
}

function dustRows(dust: readonly (ReportDust & { readonly number: number })[]): string {
  const names = ["mark", "x, px", "y, px", "across, px", "depth", "before the sensor"];
  return htmlTable(
    names.map((name) => ({ name, isNumber: true })),
    dust.map((one) => [
      String(one.number),
      one.xPx.toFixed(0),
      one.yPx.toFixed(0),
      withSigma(one.diameterPx, one.diameterSigmaPx),
      `${withSigma(100 * one.depth, 100 * one.depthSigma)} %`,
      one.distanceMm === undefined ? "" : `${one.distanceMm.toFixed(1)} mm`,
    ]),
  );
}

function list(items: readonly string[]): string {
  return items.length ? `<ul>${items.map((item) => `<li>${safeHtml(item)}</li>`).join("")}</ul>` : "";
}

function truthTable(rows: ReportInput["truth"]): string {
  if (!rows?.length) return "";
  const table = htmlTable(
    [{ name: "what" }, { name: "value", isNumber: true }, { name: "judgement" }],
    rows.map((row) => row.map(safeHtml)),
  );
  return `<p>This was a rehearsal: the simulated rig knows its own pattern exactly, so the result can be held against it.</p>
${table}`;
}

function checksTable(checks: NonNullable<ReportInput["checks"]>): string {
  return htmlTable(
    [
      { name: "UTC", isNumber: true },
      { name: "images before", isNumber: true },
      { name: "flat" },
      { name: "does it fit" },
      { name: "what was seen" },
    ],
    checks.map((one) => [
      safeHtml(one.clock),
      String(one.afterImages),
      safeHtml(one.flat),
      tag(one.verdict, one.says),
      safeHtml(one.text),
    ]),
  );
}

function settingsTable(settings: ReportInput["settings"]): string {
  if (!settings.length) return "";
  const changed = settings.filter((setting) => !setting.same).length;
  const line =
    changed === 0
      ? `All ${settings.length} settings read the same before and after.`
      : `${changed} of ${settings.length} settings differ from before.`;
  const rows = settings.toSorted((a, b) => Number(a.same) - Number(b.same));
  const table = htmlTable(
    [
      { name: "device" },
      { name: "setting" },
      { name: "before", isNumber: true },
      { name: "after", isNumber: true },
    ],
    rows.map((s) => [s.device, s.key, s.before, s.after].map(safeHtml)),
    (index) => (rows[index]!.same ? "" : "differs"),
  );
  return `<p>${line}</p><details${changed ? " open" : ' class="onscreen"'}><summary>Every setting</summary>${table}</details>`;
}

function notesList(notes: ReportInput["notes"]): string {
  if (notes.length === 0) return "";
  const items = notes.map((n) => `<li><time>${safeHtml(n.clock)}</time>${safeHtml(n.text)}</li>`);
  return `<details class="onscreen"><summary>${notes.length} entries</summary><ol class="log">${items.join("")}</ol></details>`;
}

function linksList(links: readonly string[]): string {
  const items = links.map((link) => `<li><a href="${safeHtml(encodeURI(link))}">${safeHtml(link)}</a></li>`);
  return items.length > 0 ? `<ul>${items.join("")}</ul>` : "";
}

/** The whole report as one HTML file that needs nothing else: pictures and charts are inside it. */
export function reportPage(input: ReportInput): string {
  const facts = input.facts
    .map(([name, value]) => `<div><dt>${safeHtml(name)}</dt><dd>${safeHtml(value)}</dd></div>`)
    .join("");
  const grid = (parts: readonly string[]) =>
    parts.length ? `<div class="grid">${parts.join("\n")}</div>` : "";
  const word = verdictWords[input.verdict];
  const body = `<header><h1>${safeHtml(input.title)}${tag(input.verdict, word)}</h1>
<p class="summary">${safeHtml(input.summary)}</p>${list(input.reasons)}<dl>${facts}</dl></header>
<p class="caution">${cautionText}</p>
${grid(input.pictures.map(pictureFigure))}
${section("How wrong can the flat be?", grid(input.errors.map(chartFigure)))}
${section("What the numbers say", figuresTable(input.figures))}
${section("Dust", dustTable(input.dust))}
${section("Against the truth", truthTable(input.truth))}
${section("Does the flat still fit?", checksTable(input.checks ?? []))}
${section("Charts", grid(input.charts.map(chartFigure)))}
${section("The run, minute by minute", notesList(input.notes))}
${section("The rig, before and after", settingsTable(input.settings))}
${section("Files", linksList(input.links ?? []))}`;
  return htmlPage({ title: `${input.title}: ${word}`, band: input.rehearsal, body });
}
