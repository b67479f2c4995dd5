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

/**
 * Arrays by element type, and how many of their items make one element: 64-bit integers are two words, of which the
 * upper one is 0. Little endian, as the format wants it and as every machine that runs this is.
 */
const elementArrays = {
  1: [Int16Array, 1],
  2: [Int32Array, 1],
  3: [Float64Array, 1],
  4: [Float32Array, 1],
  5: [Uint32Array, 2],
  6: [Uint8Array, 1],
  7: [Uint32Array, 2],
  8: [Uint16Array, 1],
  9: [Uint32Array, 1],
} as const;

/** As ImageBytes: column by column, x the slow axis (ASCOM Alpaca API Reference, ImageBytes). */
export function imageBytesReply(image: HeldImage, wanted: ElementType, ids: TransactionIds): SimReply {
  const { pixelsAdu, widthPx, heightPx } = image;
  const type = wanted === "smallest" ? smallestType(pixelsAdu) : wanted;
  const [ElementArray, words] = elementArrays[type];
  const elements = new ElementArray(pixelsAdu.length * words);
  fillColumns(elements, words, image);
  const body = new Uint8Array(headerBytes + elements.byteLength);
  writeHeader(body, { ids, errorNumber: 0, types: [int32Type, type], dimensions: [2, widthPx, heightPx, 0] });
  body.set(new Uint8Array(elements.buffer), headerBytes);
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

function fillColumns(
  to: { [at: number]: number },
  step: number,
  { pixelsAdu, widthPx, heightPx }: HeldImage,
): void {
  for (let top = 0; top < heightPx; top += tilePx) {
    const bottom = Math.min(top + tilePx, heightPx);
    for (let left = 0; left < widthPx; left += tilePx) {
      const right = Math.min(left + tilePx, widthPx);
      for (let x = left; x < right; x++) {
        for (let y = top, from = top * widthPx + x, at = x * heightPx; y < bottom; y++, from += widthPx) {
          to[step * (at + y)] = pixelsAdu[from]!;
        }
      }
    }
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
