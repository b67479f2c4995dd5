import type { RunRecord, StepRecord } from "../run/record/run-record.ts";
import type { TimeLineBar } from "./charts/time-line-chart.ts";

/** The steps as bars, in seconds from the start of the run. */
export function timeLineBars(record: Pick<RunRecord, "steps" | "startedUtcMs">): TimeLineBar[] {
  const since = (utcMs: number) => (utcMs - record.startedUtcMs) / 1000;
  return record.steps.map((step: StepRecord) => ({
    name: step.kind,
    startSeconds: since(step.startedUtcMs),
    endSeconds: since(step.endedUtcMs),
    ended: step.ended,
  }));
}

const shownFields = 6;

/** What happened, with the time of day (UTC) and what was said with it, in a form that reads. */
export function timeLineNotes(record: Pick<RunRecord, "timeline">): { clock: string; text: string }[] {
  return record.timeline
    .filter(({ event }) => event !== "device") // listed among the facts
    .map(({ utcMs, event, fields }) => ({
      clock: new Date(utcMs).toISOString().slice(11, 19),
      text: [event, fieldsText(fields)].filter(Boolean).join(": "),
    }));
}

function fieldsText(fields: Readonly<Record<string, unknown>> | undefined): string {
  if (!fields) return "";
  return Object.entries(fields)
    .filter(([name, value]) => name !== "stepIndex" && !isTable(value)) // the step's own lines stand around it
    .slice(0, shownFields)
    .map(([name, value]) => `${words(name)} ${valueText(name, value)}`)
    .join(", ");
}

/** `exposureSeconds` → `exposure`: the unit goes behind the value. */
function words(name: string): string {
  return name
    .replace(/^arcsecPerPx$/, "scale")
    .replace(/(Seconds|Fraction|Adu|Px|Degrees|Arcsec|Celsius)$/, "")
    .replace(/([a-z])([A-Z])/g, "$1 $2")
    .toLowerCase();
}

const units: readonly (readonly [ending: RegExp, unit: string, factor: number])[] = [
  [/ArcsecPerPx$/i, "″/px", 1],
  [/Seconds$/, "s", 1],
  [/Fraction$/, "%", 100],
  [/Adu$/, "adu", 1],
  [/Px$/, "px", 1],
  [/Degrees$/, "°", 1],
  [/Arcsec$/, "″", 1],
  [/Celsius$/, "°C", 1],
];

function valueText(name: string, value: unknown): string {
  if (typeof value === "number") {
    const unit = units.find(([ending]) => ending.test(name));
    const shown = Number((value * (unit?.[2] ?? 1)).toPrecision(4));
    return unit ? `${shown} ${unit[1]}` : String(shown);
  }
  return Array.isArray(value) ? value.map(plainText).join(", ") : plainText(value);
}

function plainText(value: unknown): string {
  if (typeof value === "object" && value !== null)
    return Object.entries(value)
      .map(([name, part]) => `${words(name)} ${valueText(name, part)}`)
      .join(" ");
  return String(value);
}

/** Rows of figures: they are for `events.ndjson`, not for reading. */
function isTable(value: unknown): boolean {
  return Array.isArray(value) && value.some((row) => typeof row === "object");
}
