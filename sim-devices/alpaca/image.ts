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

/** Little endian, as the format wants it and as every machine that runs this is. */
const makers: Readonly<
  Record<Exclude<ElementType, "smallest">, (count: number) => Elements | BigUint64Array>
> = {
  1: (count) => new Int16Array(count),
  2: (count) => new Int32Array(count),
  3: (count) => new Float64Array(count),
  4: (count) => new Float32Array(count),
  5: (count) => new BigUint64Array(count),
  6: (count) => new Uint8Array(count),
  7: (count) => new BigUint64Array(count), // counts are never negative, so signed and unsigned look the same
  8: (count) => new Uint16Array(count),
  9: (count) => new Uint32Array(count),
};

/** As ImageBytes: column by column, x the slow axis (ASCOM Alpaca API Reference, ImageBytes). */
export function imageBytesReply(image: HeldImage, wanted: ElementType, ids: TransactionIds): SimReply {
  const type = wanted === "smallest" ? smallestType(image.pixelsAdu) : wanted;
  const elements = makers[type](image.pixelsAdu.length);
  if (elements instanceof BigUint64Array) fillColumnsBig(elements, image);
  else fillColumns(elements, image);
  const data = new Uint8Array(elements.buffer);
  const body = new Uint8Array(headerBytes + data.length);
  const { widthPx, heightPx } = image;
  writeHeader(body, { ids, errorNumber: 0, types: [int32Type, type], dimensions: [2, widthPx, heightPx, 0] });
  body.set(data, headerBytes);
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

function fillColumns(to: Elements, { pixelsAdu, widthPx, heightPx }: HeldImage): void {
  for (let y = 0, from = 0; y < heightPx; y++) {
    for (let x = 0, at = y; x < widthPx; x++, at += heightPx) to[at] = pixelsAdu[from++]!;
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
