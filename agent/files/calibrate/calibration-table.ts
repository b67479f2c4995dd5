import type { CalibrateResult, FileRow } from "./calibrate-folder.ts";

/** One file in the table, with units in the names; what is not known is left out. */
export function tableRow({ facts, usedFor, flat, dark, why, ended, result }: FileRow) {
  const { header } = facts;
  const row = {
    file: facts.name,
    kind: facts.kind,
    kindBy: facts.kindWhy,
    widthPx: facts.widthPx,
    heightPx: facts.heightPx,
    frames: facts.frameCount,
    exposureSeconds: header.number("EXPTIME"),
    gain: header.number("GAIN"),
    offset: header.number("OFFSET"),
    sensorCelsius: header.number("CCD-TEMP"),
    filter: header.text("FILTER")?.trim(),
    utc: facts.utcMs === undefined ? undefined : new Date(facts.utcMs).toISOString(),
    levelAdu: rounded(facts.levelAdu),
    upperEdge: rounded(facts.edge),
    noiseAdu: rounded(facts.noiseAdu),
    clippedFraction: rounded(facts.clippedFraction),
    verdict: facts.verdict,
    usedFor,
    flat,
    dark,
    why,
    ended,
    result,
  };
  return Object.fromEntries(Object.entries(row).filter(([, value]) => value !== undefined)) as Partial<
    typeof row
  >;
}

export const tableColumns = [
  ...["file", "kind", "kindBy", "widthPx", "heightPx", "frames", "exposureSeconds", "gain", "offset"],
  ...["sensorCelsius", "filter", "utc", "levelAdu", "upperEdge", "noiseAdu", "clippedFraction", "verdict"],
  ...["usedFor", "flat", "dark", "why", "ended", "result"],
] as readonly (keyof ReturnType<typeof tableRow>)[];

function rounded(value: number | undefined): number | undefined {
  return value === undefined ? undefined : Number(value.toPrecision(6));
}

/** RFC 4180. */
export function tableCsv({ files }: Pick<CalibrateResult, "files">): string {
  const quoted = (value: string | number | undefined) => {
    const text = String(value ?? "");
    return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
  };
  const lines = files.map((file) => {
    const row = tableRow(file);
    return tableColumns.map((column) => quoted(row[column])).join(",");
  });
  return `${[tableColumns.join(","), ...lines].join("\r\n")}\r\n`;
}
