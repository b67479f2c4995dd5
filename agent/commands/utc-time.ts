import { wrongInput } from "./outcome.ts";

/** The library's series are good for these years. */
const years = { from: 1900, to: 2100 };

/** @param state that things are in if it is none. @returns UTC milliseconds. @throws CommandError */
export function readUtcTime(text: string, state: string): number {
  const isIso = /^\d{4}-\d\d-\d\d(T\d\d:\d\d(:\d\d(\.\d+)?)?(Z|[+-]\d\d:\d\d)?)?$/.test(text);
  const hasZone = /(Z|[+-]\d\d:\d\d)$/.test(text) || !text.includes("T"); // a bare date is UTC already
  const utcMs = isIso ? Date.parse(hasZone ? text : `${text}Z`) : Number.NaN;
  const year = new Date(utcMs).getUTCFullYear();
  if (year >= years.from && year <= years.to) return utcMs;
  throw wrongInput(
    state,
    `"${text}" is not a time from ${years.from} to ${years.to}.`,
    "Give it as 2026-06-21T10:00:00Z (UTC), or with an offset: 2026-06-21T12:00:00+02:00",
  );
}
