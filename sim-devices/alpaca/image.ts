import type { AscomError } from "./ascom-error.ts";
import { jsonTextReply, type SimReply } from "./reply.ts";

/** A frame as the camera holds it: rows from the top. */
export interface HeldImage {
  readonly pixelsAdu: Uint16Array;
  readonly widthPx: number;
  readonly heightPx: number;
}

export interface TransactionIds {
  readonly ClientTransactionID: number;
  readonly ServerTransactionID: number;
}

/** Element types of ImageBytes. `smallest`: byte, unsigned 16 bits as the frame's largest count needs. */
export type ElementType = "smallest" | 1 | 2 | 3 | 4 | 5 | 6 | 7 | 8 | 9;

/** Type of the image as its interface gives it. */
const int32Type = 2;
const headerBytes = 44;

type Elements =
  | Uint8Array
  | Int16Array
  | Uint16Array
  | Int32Array
  | Uint32Array
  | Float32Array
  | Float64Array;

/**
 * Arrays over a buffer, or of their own where they would not be aligned behind the header. Little endian, as the format
 * wants it and as every machine that runs this is.
 */
const makers: Readonly<
  Record<Exclude<ElementType, "smallest">, (buffer: ArrayBuffer, count: number) => Elements | BigUint64Array>
> = {
  1: (buffer, count) => new Int16Array(buffer, headerBytes, count),
  2: (buffer, count) => new Int32Array(buffer, headerBytes, count),
  3: (_, count) => new Float64Array(count),
  4: (buffer, count) => new Float32Array(buffer, headerBytes, count),
  5: (_, count) => new BigUint64Array(count),
  6: (buffer, count) => new Uint8Array(buffer, headerBytes, count),
  7: (_, count) => new BigUint64Array(count), // counts are never negative, so signed and unsigned look the same
  8: (buffer, count) => new Uint16Array(buffer, headerBytes, count),
  9: (buffer, count) => new Uint32Array(buffer, headerBytes, count),
};
const itemBytes: Readonly<Record<Exclude<ElementType, "smallest">, number>> = {
  1: 2,
  2: 4,
  3: 8,
  4: 4,
  5: 8,
  6: 1,
  7: 8,
  8: 2,
  9: 4,
};

/** As ImageBytes: column by column, x the slow axis (ASCOM Alpaca API Reference, ImageBytes). */
export function imageBytesReply(image: HeldImage, wanted: ElementType, ids: TransactionIds): SimReply {
  const { pixelsAdu, widthPx, heightPx } = image;
  const type = wanted === "smallest" ? smallestType(pixelsAdu) : wanted;
  const body = new Uint8Array(headerBytes + pixelsAdu.length * itemBytes[type]);
  writeHeader(body, { ids, errorNumber: 0, types: [int32Type, type], dimensions: [2, widthPx, heightPx, 0] });
  const elements = makers[type](body.buffer, pixelsAdu.length);
  if (elements instanceof BigUint64Array) fillColumnsBig(elements, image);
  else fillColumns(elements, image);
  if (elements.buffer !== body.buffer) body.set(new Uint8Array(elements.buffer), headerBytes);
  return { status: 200, contentType: "application/imagebytes", body };
}

export function imageErrorReply(error: AscomError, ids: TransactionIds): SimReply {
  const message = new TextEncoder().encode(error.message);
  const body = new Uint8Array(headerBytes + message.length);
  writeHeader(body, { ids, errorNumber: error.errorNumber, types: [0, 0], dimensions: [0, 0, 0, 0] });
  body.set(message, headerBytes);
  return { status: 200, contentType: "application/imagebytes", body };
}

/** As JSON: an array of columns. */
export function imageJsonReply({ pixelsAdu, widthPx, heightPx }: HeldImage, ids: TransactionIds): SimReply {
  const columns: string[] = [];
  const column = new Array<number>(heightPx);
  for (let x = 0; x < widthPx; x++) {
    for (let y = 0; y < heightPx; y++) column[y] = pixelsAdu[y * widthPx + x]!;
    columns.push(`[${column.join(",")}]`);
  }
  const { ClientTransactionID, ServerTransactionID } = ids;
  return jsonTextReply(
    `{"Type":${int32Type},"Rank":2,"Value":[${columns.join(",")}],` +
      `"ClientTransactionID":${ClientTransactionID},"ServerTransactionID":${ServerTransactionID},` +
      `"ErrorNumber":0,"ErrorMessage":""}`,
  );
}

function smallestType(pixelsAdu: Uint16Array): 6 | 8 {
  return pixelsAdu.every((adu) => adu < 256) ? 6 : 8;
}

/** Side of the squares in which rows become columns: both sides of one stay in the cache [px]. */
const tilePx = 64;

function fillColumns(to: Elements, { pixelsAdu, widthPx, heightPx }: HeldImage): void {
  for (let top = 0; top < heightPx; top += tilePx) {
    const bottom = Math.min(top + tilePx, heightPx);
    for (let left = 0; left < widthPx; left += tilePx) {
      const right = Math.min(left + tilePx, widthPx);
      for (let x = left; x < right; x++) {
        for (let y = top, from = top * widthPx + x, at = x * heightPx; y < bottom; y++, from += widthPx) {
          to[at + y] = pixelsAdu[from]!;
        }
      }
    }
  }
}

function fillColumnsBig(to: BigUint64Array, { pixelsAdu, widthPx, heightPx }: HeldImage): void {
  for (let y = 0, from = 0; y < heightPx; y++) {
    for (let x = 0, at = y; x < widthPx; x++, at += heightPx) to[at] = BigInt(pixelsAdu[from++]!);
  }
}

function writeHeader(
  body: Uint8Array,
  header: {
    readonly ids: TransactionIds;
    readonly errorNumber: number;
    /** Of the image, and of these bytes. */
    readonly types: readonly [number, number];
    /** Rank, then the three lengths. */
    readonly dimensions: readonly [number, number, number, number];
  },
): void {
  const { ids, errorNumber, types, dimensions } = header;
  const version = 1;
  const words = [
    version,
    errorNumber,
    ids.ClientTransactionID,
    ids.ServerTransactionID,
    headerBytes,
    ...types,
    ...dimensions,
  ];
  const view = new DataView(body.buffer);
  for (const [i, word] of words.entries()) view.setUint32(4 * i, word, true);
}
