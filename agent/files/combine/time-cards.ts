import type { Card } from "../../../drivers/formats/fits-card.ts";
import type { FitsHeader } from "../../../drivers/formats/fits-header.ts";
import { utcText } from "../../../drivers/formats/fits-write.ts";

/** DATE-OBS of a header as UTC milliseconds since the epoch; FITS times are UTC without a zone letter. */
export function startUtcMs(header: FitsHeader): number | undefined {
  const text = header.text("DATE-OBS") ?? header.text("DATE-BEG");
  if (text === undefined || !/^\d{4}-\d\d-\d\d(T\d\d:\d\d:\d\d(\.\d*)?)?$/.test(text)) return undefined;
  const ms = Date.parse(text.includes("T") ? `${text}Z` : `${text}T00:00:00Z`);
  return Number.isNaN(ms) ? undefined : ms;
}

/** When the frames of a master were taken, as far as all of them say so. */
export function timeCards(headers: readonly FitsHeader[]): Card[] {
  const spans = headers.flatMap((header) => {
    const beginMs = startUtcMs(header);
    return beginMs === undefined
      ? []
      : [{ beginMs, endMs: beginMs + 1000 * (header.number("EXPTIME") ?? 0) }];
  });
  if (spans.length < headers.length) return [];
  const beginMs = spans.reduce((least, span) => Math.min(least, span.beginMs), Number.POSITIVE_INFINITY);
  const endMs = spans.reduce((most, span) => Math.max(most, span.endMs), Number.NEGATIVE_INFINITY);
  const avgMs = spans.reduce((sum, span) => sum + (span.beginMs + span.endMs) / 2, 0) / spans.length;
  return [
    { keyword: "DATE-OBS", value: utcText(beginMs), comment: "UTC, start of the first exposure" },
    { keyword: "DATE-BEG", value: utcText(beginMs), comment: "UTC, start of the first exposure" },
    { keyword: "DATE-AVG", value: utcText(avgMs), comment: "UTC, mean of the middles of the exposures" },
    { keyword: "DATE-END", value: utcText(endMs), comment: "UTC, end of the last exposure" },
    { keyword: "MJD-AVG", value: 40587 + avgMs / 86_400_000, comment: "DATE-AVG as modified Julian date" },
  ];
}
