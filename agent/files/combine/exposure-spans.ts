import type { FitsHeader } from "../../../drivers/formats/fits-header.ts";
import type { ExposureSpan } from "../../masters/master-cards.ts";

/** DATE-OBS of a header as UTC milliseconds since the epoch; FITS times are UTC without a zone letter. */
export function startUtcMs(header: FitsHeader): number | undefined {
  const text = header.text("DATE-OBS") ?? header.text("DATE-BEG");
  if (text === undefined || !/^\d{4}-\d\d-\d\d(T\d\d:\d\d:\d\d(\.\d*)?)?$/.test(text)) return undefined;
  const ms = Date.parse(text.includes("T") ? `${text}Z` : `${text}T00:00:00Z`);
  return Number.isNaN(ms) ? undefined : ms;
}

/** When the frames were exposed; empty unless all of them say so. */
export function exposureSpans(headers: readonly FitsHeader[]): ExposureSpan[] {
  const spans = headers.flatMap((header) => {
    const beginUtcMs = startUtcMs(header);
    return beginUtcMs === undefined
      ? []
      : [{ beginUtcMs, endUtcMs: beginUtcMs + 1000 * (header.number("EXPTIME") ?? 0) }];
  });
  return spans.length < headers.length ? [] : spans;
}
