import { existsSync, readFileSync } from "node:fs";
import { resolve } from "node:path";
import type { Card } from "../../../drivers/formats/fits-card.ts";
import { writeWholeFile } from "../../../drivers/formats/whole-file.ts";
import { InputError } from "../input-error.ts";
import { sameOrigin } from "./apply-origin.ts";

/** SER has no room for what was done to it: that is kept beside, as `NAME.ser.json`, in the words of FITS. */
export function recordPath(ser: string): string {
  return `${ser}.json`;
}

/** The record of a file that `apply` made, by keyword; `undefined` if there is none of ours. */
export function readRecord(ser: string): ReadonlyMap<string, unknown> | undefined {
  try {
    const parsed: unknown = JSON.parse(readFileSync(recordPath(ser), "utf8"));
    const record = new Map(Object.entries(parsed ?? {}));
    return record.get("SWMODIFY") === "evenfield" ? record : undefined;
  } catch {
    return undefined;
  }
}

/** Whether the result and its record are there and made from the same. */
export function isSerDone(ser: string, origin: readonly Card[]): boolean {
  const record = existsSync(ser) ? readRecord(ser) : undefined;
  return record !== undefined && sameOrigin((keyword) => record.get(keyword), origin);
}

/** @throws InputError if a captured file or another program's has the record's name */
export function checkRecord(ser: string, inputs: readonly string[]): void {
  const record = recordPath(ser);
  const captured = inputs.some((input) => resolve(input) === resolve(record));
  if (!captured && (!existsSync(record) || readRecord(ser) !== undefined)) return;
  throw new InputError(`${record} is there and none of ours.`, "Name another output.");
}

export function writeRecord(ser: string, cards: readonly Card[]): void {
  const history = cards.filter((card) => card.keyword === "HISTORY").map((card) => card.value);
  const values = cards.filter((card) => card.keyword !== "HISTORY").map((card) => [card.keyword, card.value]);
  const record = { ...Object.fromEntries(values), HISTORY: history };
  writeWholeFile(recordPath(ser), new TextEncoder().encode(`${JSON.stringify(record, null, 2)}\n`), {
    replace: true,
  });
}
