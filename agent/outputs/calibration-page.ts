import type { CalibrateResult, FileRow } from "../files/calibrate/calibrate-folder.ts";
import type { MasterRow } from "../files/calibrate/make-masters.ts";
import { htmlPage, htmlTable, section } from "./page-shell.ts";
import { safeHtml } from "./safe-html.ts";

const verdictTag = (verdict: string | undefined) =>
  verdict === undefined ? "" : `<span class="tag ${verdict}">${verdict}</span>`;

const digits = (value: number | undefined, count = 4) =>
  value === undefined ? "" : String(Number(value.toPrecision(count)));

/** All files of a folder on one page: what they are, what was used for what, and why. */
export function calibrationPage(folder: string, result: CalibrateResult): string {
  const { files, masters, failed, warnings } = result;
  const count = (ended: FileRow["ended"]) => files.filter((file) => file.ended === ended).length;
  const counts = (["written", "done before", "planned", "in another part", "left out"] as const)
    .map((ended) => [ended, count(ended)] as const)
    .filter(([, number]) => number > 0);
  const facts = [
    ["Files", String(files.length + failed.length)],
    ["Masters", String(masters.length)],
    ...counts.map(([ended, number]) => [`Files ${ended}`, String(number)]),
  ];
  const title = `Files of ${folder}`;
  const body = `<header><h1>${safeHtml(title)}</h1>
<dl>${facts.map(([name, value]) => `<div><dt>${safeHtml(name!)}</dt><dd>${safeHtml(value!)}</dd></div>`).join("")}</dl></header>
${section("Left out", leftOutTable(result))}
${section("Masters", mastersTable(masters))}
${section("Images", imagesTable(files))}
${section("Frames of the masters", framesTable(files))}
${section("Notes", warnings.length === 0 ? "" : `<ul>${warnings.map((text) => `<li>${safeHtml(text)}</li>`).join("")}</ul>`)}`;
  return htmlPage({ title, body });
}

function leftOutTable({ files, failed }: CalibrateResult): string {
  const rows = [
    ...files.filter(({ ended }) => ended === "left out").map(({ facts, why }) => [facts.name, why]),
    ...failed.map(({ file, happened, whatToDo }) => [file, `${happened} ${whatToDo}`]),
  ];
  return htmlTable(
    [{ name: "file" }, { name: "why" }],
    rows.map((row) => row.map(safeHtml)),
  );
}

function mastersTable(masters: readonly MasterRow[]): string {
  return htmlTable(
    [
      { name: "master" },
      { name: "frames", isNumber: true },
      { name: "level, adu", isNumber: true },
      { name: "noise, adu", isNumber: true },
      { name: "masked px", isNumber: true },
      { name: "verdict" },
      { name: "how it ended" },
      { name: "why" },
    ],
    masters.map((one) => [
      safeHtml(one.name),
      one.frameCount === 0 ? "" : String(one.frameCount),
      digits(one.levelAdu),
      digits(one.noiseAdu, 3),
      one.maskedPx === undefined ? "" : String(one.maskedPx),
      verdictTag(one.verdict),
      one.ended,
      safeHtml([one.why, ...(one.reasons ?? [])].filter(Boolean).join("; ")),
    ]),
  );
}

function settingText({ facts: { header } }: FileRow): string {
  const [seconds, gain, celsius] = [
    header.number("EXPTIME"),
    header.number("GAIN"),
    header.number("CCD-TEMP"),
  ];
  return [
    seconds === undefined ? "" : `${digits(seconds)} s`,
    gain === undefined ? "" : `gain ${gain}`,
    celsius === undefined ? "" : `${digits(celsius, 3)} °C`,
    header.text("FILTER")?.trim() ?? "",
  ]
    .filter(Boolean)
    .join(", ");
}

function figures({ facts }: FileRow): string[] {
  return [
    digits(facts.levelAdu),
    facts.edge === undefined ? "" : `${digits(100 * facts.edge, 3)} %`,
    digits(facts.noiseAdu, 3),
    verdictTag(facts.verdict),
  ];
}

const figureColumns = [
  { name: "level, adu", isNumber: true },
  { name: "upper edge", isNumber: true },
  { name: "noise, adu", isNumber: true },
  { name: "verdict" },
];

function imagesTable(files: readonly FileRow[]): string {
  const shortName = (path: string | undefined) => path?.replace(/^.*[\\/]/, "") ?? "";
  return htmlTable(
    [
      ...[{ name: "image" }, { name: "setting" }, ...figureColumns],
      ...[{ name: "flat" }, { name: "dark" }, { name: "why these" }, { name: "how it ended" }],
    ],
    files
      .filter(({ usedFor, ended }) => usedFor === "an image" && ended !== "left out")
      .map((row) => [
        ...[safeHtml(row.facts.name), safeHtml(settingText(row)), ...figures(row)],
        ...[safeHtml(shortName(row.flat)), safeHtml(shortName(row.dark)), safeHtml(row.why), row.ended],
      ]),
  );
}

function framesTable(files: readonly FileRow[]): string {
  return htmlTable(
    [
      ...[{ name: "file" }, { name: "kind" }, { name: "setting" }, ...figureColumns],
      ...[{ name: "used for" }, { name: "told by" }],
    ],
    files
      .filter(({ usedFor }) => usedFor !== "an image" && usedFor !== "nothing")
      .map((row) => [
        ...[safeHtml(row.facts.name), row.facts.kind ?? "", safeHtml(settingText(row)), ...figures(row)],
        ...[safeHtml(row.usedFor), safeHtml(row.facts.kindWhy)],
      ]),
  );
}
