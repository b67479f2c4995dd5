import type { HttpReply } from "../../kit/http-link.ts";
import { UnreadableReplyError } from "./errors.ts";
import type { DecodedImage } from "./image-bytes.ts";
import { type Asked, readReply } from "./reply.ts";
import { anything } from "./values.ts";

/**
 * An image as JSON, for devices that know nothing better: columns of pixels, `Value[x][y]`. It costs many times an
 * image's size and time. Checked by hand, since millions of numbers are too many for a schema.
 * @throws as `readReply`, and UnreadableReplyError for what is no picture of whole counts
 */
export function imageFromJson(reply: HttpReply, asked: Asked): DecodedImage {
  const { value, serverTransactionId } = readReply(reply, asked, anything);
  const unreadable = (what: string) => new UnreadableReplyError(asked.device, asked.member, what);
  if (!Array.isArray(value) || !Array.isArray(value[0])) throw unreadable("the image is no array of columns");
  const columns = value as unknown[][];
  const [widthPx, heightPx] = [columns.length, columns[0]!.length];
  if (Array.isArray(columns[0]![0])) throw unreadable("a colour image; a monochrome camera is needed");
  if (heightPx === 0) throw unreadable("an image without pixels");
  const pixelsAdu = new Uint16Array(widthPx * heightPx);
  for (const [x, column] of columns.entries()) {
    if (!Array.isArray(column) || column.length !== heightPx) {
      throw unreadable(`column ${x} has another length than the first`);
    }
    for (let y = 0; y < heightPx; y++) {
      const pixel = column[y];
      if (!(Number.isInteger(pixel) && (pixel as number) >= 0 && (pixel as number) <= 65535)) {
        throw unreadable(`a pixel of ${String(pixel)}, outside the whole numbers 0 to 65535`);
      }
      pixelsAdu[y * widthPx + x] = pixel as number;
    }
  }
  return { pixelsAdu, widthPx, heightPx, serverTransactionId };
}
