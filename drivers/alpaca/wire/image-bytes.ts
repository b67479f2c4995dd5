import { errorFor, UnreadableReplyError } from "./errors.ts";
import { type ElementType, elementTypes, PixelRangeError, type RowsInto, rowsOf } from "./image-elements.ts";
import { type Asked, checkTransaction } from "./reply.ts";

export interface DecodedImage {
  /** Counts [adu], row-major, origin top left. */
  readonly pixelsAdu: Uint16Array;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly serverTransactionId: number;
}

const headerBytes = 44;
/** No sensor is larger; a product of two wrong dimensions must not become an allocation. */
const pxMax = 1_000_000_000;

/**
 * An `application/imagebytes` reply (API reference, ImageBytes): a header of eleven little-endian words, then the
 * pixels column by column, or the text of an error.
 * @throws AscomError, NotConnectedError, NotImplementedError for an error reply; UnreadableReplyError for the rest
 */
export function imageFromBytes(body: Uint8Array, asked: Asked, into: RowsInto): DecodedImage {
  const unreadable = (what: string) => new UnreadableReplyError(asked.device, asked.member, what);
  if (body.length < headerBytes) throw unreadable(`${body.length} bytes are no image header`);
  const header = new DataView(body.buffer, body.byteOffset, headerBytes);
  const word = (offset: number) => header.getInt32(offset, true);
  if (word(0) !== 1) throw unreadable(`image header of version ${word(0)}, not 1`);
  const dataStart = word(16);
  if (dataStart < headerBytes || dataStart > body.length)
    throw unreadable(`pixels begin at byte ${dataStart}`);
  checkTransaction(asked, header.getUint32(8, true));
  const errorNumber = word(4);
  const data = body.subarray(dataStart);
  if (errorNumber !== 0) {
    throw errorFor(asked.device, asked.member, errorNumber, new TextDecoder().decode(data.subarray(0, 1000)));
  }
  const [type, rank, widthPx, heightPx, planes] = [24, 28, 32, 36, 40].map(word) as [
    number,
    number,
    number,
    number,
    number,
  ];
  if (rank === 3) throw unreadable(`a colour image of ${planes} planes; a monochrome camera is needed`);
  if (rank !== 2) throw unreadable(`an image of rank ${rank}`);
  if (!(widthPx > 0 && heightPx > 0 && widthPx * heightPx <= pxMax)) {
    throw unreadable(`an image of ${widthPx} x ${heightPx} px`);
  }
  if (!(type in elementTypes)) throw unreadable(`element type ${type}`);
  const { name, bytes } = elementTypes[type as ElementType];
  const wantedBytes = widthPx * heightPx * bytes;
  if (data.length !== wantedBytes) {
    const what = `${widthPx} x ${heightPx} px of ${name} are ${wantedBytes} bytes`;
    throw unreadable(`${what}, and ${data.length} came`);
  }
  try {
    const pixelsAdu = rowsOf(data, type as ElementType, { widthPx, heightPx }, into);
    return { pixelsAdu, widthPx, heightPx, serverTransactionId: header.getUint32(12, true) };
  } catch (error) {
    if (error instanceof PixelRangeError) throw unreadable(error.message);
    throw error;
  }
}
