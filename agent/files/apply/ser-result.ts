import { existsSync, readFileSync, rmSync } from "node:fs";
import { basename, join, resolve } from "node:path";
import { toNative } from "../../../drivers/formats/byte-order.ts";
import type { Card } from "../../../drivers/formats/fits-card.ts";
import { serField, serHeaderBytes } from "../../../drivers/formats/ser.ts";
import type { SerFile } from "../../../drivers/formats/ser-file.ts";
import { writeWholeFile } from "../../../drivers/formats/whole-file.ts";
import { isOurs } from "../../masters/creator-card.ts";
import { InputError } from "../input-error.ts";
import { checkOutput } from "../output-name.ts";
import { sameOrigin } from "./apply-origin.ts";
import type { SequenceRequest, SequenceResult } from "./sequence-result.ts";

/** SER of the same depth, byte order and times, with the header as it was. */
export function serResult(ser: SerFile, request: SequenceRequest): SequenceResult {
  const output = join(request.outputFolder, basename(ser.path));
  return {
    output,
    as: "uint16",
    countMax: 2 ** ser.header.depthBits - 1,
    frameBytes: ser.frameBytes,
    headBytes: () => serHeaderBytes,
    holdsSum: false,
    encode: (pixels, into) => {
      const bytes = new Uint8Array(pixels.buffer, pixels.byteOffset, pixels.byteLength);
      if (ser.bytesPerPixel === 2 && ser.byteOrder === "little") return bytes;
      if (ser.bytesPerPixel === 2) toNative(bytes, into, 2, "keep");
      else into.set(pixels);
      return into;
    },
    isDone: (origin) => isSerDone(output, origin),
    checkNames: () => {
      checkOutput(output, request.inputs, request.replace);
      checkRecord(output, request.inputs);
    },
    finish: (part, { cards }) => {
      const head = ser.headerBytes.slice();
      // A recording that was broken off may say 0.
      new DataView(head.buffer).setInt32(serField.frameCount, ser.frameCount, true);
      rmSync(recordPath(output), { force: true }); // it speaks of the file that is replaced now
      part.finish({ head, tail: ser.trailer() }, request.replace);
      writeRecord(output, cards);
    },
  };
}

/** SER has no room for what was done to it: that is kept beside, as `NAME.ser.json`, in the words of FITS. */
function recordPath(ser: string): string {
  return `${ser}.json`;
}

/** The record of a file that `apply` made, by keyword; `undefined` if there is none of ours. */
export function readRecord(ser: string): ReadonlyMap<string, unknown> | undefined {
  try {
    const parsed: unknown = JSON.parse(readFileSync(recordPath(ser), "utf8"));
    const record = new Map(Object.entries(parsed ?? {}));
    return isOurs(record.get("CREATOR") ?? record.get("SWMODIFY")) ? record : undefined;
  } catch {
    return undefined;
  }
}

/** Whether the result and its record are there and made from the same. */
function isSerDone(ser: string, origin: readonly Card[]): boolean {
  const record = existsSync(ser) ? readRecord(ser) : undefined;
  return record !== undefined && sameOrigin((keyword) => record.get(keyword), origin);
}

/** @throws InputError if a captured file or another program's has the record's name */
function checkRecord(ser: string, inputs: readonly string[]): void {
  const record = recordPath(ser);
  const captured = inputs.some((input) => resolve(input) === resolve(record));
  if (!captured && (!existsSync(record) || readRecord(ser) !== undefined)) return;
  throw new InputError(`${record} is there and none of ours.`, "Name another output.");
}

function writeRecord(ser: string, cards: readonly Card[]): void {
  const history = cards.filter((card) => card.keyword === "HISTORY").map((card) => card.value);
  const values = cards.filter((card) => card.keyword !== "HISTORY").map((card) => [card.keyword, card.value]);
  const record = { ...Object.fromEntries(values), HISTORY: history };
  writeWholeFile(recordPath(ser), new TextEncoder().encode(`${JSON.stringify(record, null, 2)}\n`), {
    replace: true,
  });
}
