import { safeHtml } from "./safe-html.ts";

/**
 * What every page of ours looks like: one file that needs nothing else, on a desk, at the telescope at night, on a phone and on
 * paper. Text keeps a contrast of 4.5 to its ground in both palettes (`test/agent/outputs/page-contrast.test.ts`).
 */
export const palettes = {
  light: {
    ground: "#f6f3ec",
    sheet: "#fffdf9",
    ink: "#1d2733",
    quiet: "#55606b",
    line: "#ddd6c8",
    differs: "#f7e3df",
    good: "#28704f",
    usable: "#85590a",
    bad: "#a83232",
    none: "#5c6670",
    onTag: "#ffffff",
    link: "#8a4a08",
  },
  dark: {
    ground: "#14181d",
    sheet: "#1b2127",
    ink: "#e3dfd6",
    quiet: "#a2abb4",
    line: "#343c45",
    differs: "#43262a",
    good: "#7fd0a8",
    usable: "#e5b75a",
    bad: "#f09a92",
    none: "#b3bbc3",
    onTag: "#14181d",
    link: "#f0b877",
  },
} as const;

function variables(palette: Readonly<Record<string, string>>): string {
  return Object.entries(palette)
    .map(([name, value]) => `--${name}:${value}`)
    .join(";");
}

/** Of every page; a server that shows one allows this style and no other. */
export const pageStyle = `
:root{color-scheme:light dark;${variables(palettes.light)}}
@media (prefers-color-scheme:dark){:root{${variables(palettes.dark)}}.chart svg{filter:invert(1) hue-rotate(180deg)}}
*{box-sizing:border-box}
body{margin:0;background:var(--ground);color:var(--ink);font:16px/1.5 "Iowan Old Style","Palatino Linotype",Palatino,Georgia,serif;overflow-wrap:anywhere}
main{max-width:1060px;margin:0 auto;padding:0 24px 64px}
header{border-bottom:3px double var(--line);padding:36px 0 18px;margin-bottom:12px}
h1{font-size:30px;line-height:1.25;margin:0 0 6px;font-weight:600}
h2{font-size:20px;margin:36px 0 10px;font-weight:600;break-after:avoid}
a{color:var(--link)}
.band{margin:0 -24px;padding:7px 24px;background:var(--usable);color:var(--onTag);font:600 15px/1.4 system-ui,sans-serif}
.summary{font-size:18px;max-width:46em;margin:8px 0}
.tag{display:inline-block;padding:0 10px;border-radius:4px;color:var(--onTag);font:600 13px/22px system-ui,sans-serif;white-space:nowrap}
h1 .tag{font-size:17px;line-height:30px;vertical-align:4px;margin-left:10px}
.name{font-weight:600;white-space:nowrap}
.good{background:var(--good)}.usable{background:var(--usable)}.bad{background:var(--bad)}.none{background:var(--none)}
dl{display:grid;grid-template-columns:repeat(auto-fit,minmax(200px,1fr));gap:8px 24px;margin:16px 0;font-size:15px}
dt{color:var(--quiet);font-size:13px}dd{margin:0}
.grid{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(340px,100%),1fr));gap:22px}
figure{margin:0;min-width:0;break-inside:avoid}.wide{grid-column:1/-1}
.frame{position:relative;background:#111;border-radius:3px;overflow:hidden}
.frame img{display:block;width:100%}.over{position:absolute;inset:0;width:100%;height:100%;filter:drop-shadow(0 0 1.5px #000) drop-shadow(0 0 1.5px #000)}
.chart{background:var(--sheet);border:1px solid var(--line);border-radius:3px;padding:10px 12px;overflow-x:auto}
.chart svg{display:block;width:100%;min-width:460px;height:auto;font-family:system-ui,sans-serif}
.sky{margin:18px 0;color:var(--ink)}.sky svg{display:block;width:100%;max-width:600px;height:auto;font-family:system-ui,sans-serif}
.greys{display:flex;gap:8px;align-items:center;font:12px/1.4 system-ui,sans-serif;color:var(--quiet);margin-top:4px}
.greys i{flex:1;height:8px;border:1px solid var(--line);background:linear-gradient(90deg,#000,#fff)}
figcaption{font-size:14px;color:var(--quiet);margin-top:6px}figcaption b{color:var(--ink)}
table{border-collapse:collapse;width:100%;font-size:15px}
td,th{text-align:left;padding:5px 12px 5px 0;border-bottom:1px solid var(--line);vertical-align:top}
th{font-size:13px;color:var(--quiet);font-weight:500}.n{text-align:right;font-variant-numeric:tabular-nums}
td.n{font-family:system-ui,sans-serif;font-size:14px}
tr{break-inside:avoid}.differs td{background:var(--differs)}
input,button{font:16px/1.4 system-ui,sans-serif;min-height:44px;padding:6px 12px;max-width:100%}
input[type=checkbox]{min-height:0;width:22px;height:22px;vertical-align:-5px}
.log{font-size:14px;columns:2;column-gap:32px;padding:0;list-style:none}.log time{font-family:system-ui,sans-serif;font-size:13px;color:var(--quiet);margin-right:8px}
.log li{break-inside:avoid}
.caution{border-left:4px solid var(--bad);padding:6px 14px;background:var(--sheet);font-size:14px;margin:18px 0}
@media (max-width:640px){
main{padding:0 14px 40px}.band{margin:0 -14px;padding:7px 14px}header{padding-top:20px}h1{font-size:24px}.log{columns:1}
table.folds thead{display:none}table.folds tr{display:block;padding:8px 0;border-bottom:1px solid var(--line)}
table.folds td{display:grid;grid-template-columns:7.5em 1fr;gap:8px;text-align:left;padding:1px 0;border:0}
table.folds td::before{content:attr(data-label);color:var(--quiet);font:13px/1.6 system-ui,sans-serif}
table.folds td:empty{display:none}}
@media print{:root{${variables(palettes.light)};--ground:#ffffff;--sheet:#ffffff}
@page{size:A4;margin:14mm}
body{font-size:10pt;-webkit-print-color-adjust:exact;print-color-adjust:exact}main{max-width:none;padding:0}
header{padding-top:0}h1{font-size:18pt}h2{font-size:12pt;margin:14pt 0 4pt}.summary{font-size:11pt}
table,figcaption,.log,dl{font-size:8.5pt}td.n,th{font-size:8pt}.tag{font-size:8pt;line-height:13pt}td,th{padding:2pt 8pt 2pt 0}
.grid{grid-template-columns:repeat(3,1fr);gap:8pt}.grid .wide{grid-column:span 3}.grid .wide .frame{max-width:62%}
.chart{padding:4pt;overflow:visible}.chart svg{min-width:0;filter:none}.band{margin:0}
details.onscreen{display:none}}
`;

/** @param band what has to be seen first, whatever else the page says */
export function htmlPage(page: {
  readonly title: string;
  readonly band?: string | undefined;
  readonly body: string;
  /** Where the file is written anew again and again [s]. */
  readonly refreshSeconds?: number | undefined;
  /** Where a script of ours keeps the page up to date; without one the page renews itself. */
  readonly script?: { readonly path: string; readonly renewSecondsWithout: number };
}): string {
  const band = page.band === undefined ? "" : `<p class="band">${safeHtml(page.band)}</p>\n`;
  const { refreshSeconds, script } = page;
  const kept =
    script === undefined
      ? ""
      : `<noscript><meta http-equiv="refresh" content="${script.renewSecondsWithout}"></noscript><script src="${script.path}" defer></script>`;
  const refresh =
    refreshSeconds === undefined ? "" : `<meta http-equiv="refresh" content="${refreshSeconds}">`;
  return `<!doctype html>
<html lang="en"><head><meta charset="utf-8">${refresh}<meta name="viewport" content="width=device-width,initial-scale=1">
<title>${safeHtml(page.title)}</title><style>${pageStyle}</style>${kept}</head>
<body><main>
${band}${page.body}
</main></body></html>
`;
}

export type Verdict = "good" | "usable" | "bad" | "none";

export const verdictWords: Record<Verdict, string> = {
  good: "good",
  usable: "usable",
  bad: "bad",
  none: "no flat",
};

/** A word on a ground in the colour of a verdict. */
export function tag(verdict: Verdict, word: string): string {
  return `<span class="tag ${verdict}">${safeHtml(word)}</span>`;
}

/** One column of a table; numbers stand at the right. */
export interface TableColumn {
  readonly name: string;
  readonly isNumber?: boolean;
}

/** A table that folds into cards where there is no room. @param rows cells as HTML */
export function htmlTable(
  columns: readonly TableColumn[],
  rows: readonly (readonly string[])[],
  rowClass: (rowIndex: number) => string = () => "",
): string {
  if (rows.length === 0) return "";
  const numeric = (index: number) => (columns[index]!.isNumber ? ' class="n"' : "");
  const head = columns.map(({ name }, index) => `<th${numeric(index)}>${safeHtml(name)}</th>`).join("");
  const body = rows.map((cells, rowIndex) => {
    const given = rowClass(rowIndex);
    const row = cells.map(
      (cell, index) => `<td data-label="${safeHtml(columns[index]!.name)}"${numeric(index)}>${cell}</td>`,
    );
    return `<tr${given === "" ? "" : ` class="${given}"`}>${row.join("")}</tr>`;
  });
  return `<table class="folds"><thead><tr>${head}</tr></thead>\n<tbody>${body.join("\n")}</tbody></table>`;
}

export function section(title: string, body: string): string {
  return body ? `<section><h2>${safeHtml(title)}</h2>${body}</section>` : "";
}
