import { FitsError, type FitsHeader, readFitsInPlace } from "../../formats/fits-read.ts";
import type { IndiBlob } from "./blob.ts";
import { countsFrom, countsFromRaw, NotRawCountsError } from "./frame-pixels.ts";

/** A frame with what its header says; what the header leaves out is `undefined`. */
export interface ReceivedFrame {
  readonly pixelsAdu: Uint16Array;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly exposureSeconds: number | undefined;
  readonly startedUtcMs: number | undefined;
  readonly gain: number | undefined;
  readonly offset: number | undefined;
  readonly sensorCelsius: number | undefined;
}

export class UnreadableFrameError extends Error {}

/** So is every other frame of this camera as it is set up: taking it again is of no use. */
export class UnsuitableFormatError extends UnreadableFrameError {}

/**
 * Takes the BLOB's bytes over: they are overwritten.
 * @param sizePx of the frame as set up, binned; used only when the BLOB has no header
 * @throws UnreadableFrameError
 */
export function frameFromBlob(
  blob: Pick<IndiBlob, "format" | "bytes">,
  sizePx: { widthPx: number; heightPx: number },
): ReceivedFrame {
  const format = blob.format.toLowerCase();
  try {
    if (format === ".fits" || format === ".fit") return frameFromFits(blob.bytes);
    if (format === ".bin" || format === ".raw") {
      const { widthPx, heightPx } = sizePx;
      const pixelsAdu = countsFromRaw(blob.bytes, widthPx, heightPx);
      return { pixelsAdu, widthPx, heightPx, ...noHeader };
    }
  } catch (error) {
    if (error instanceof FitsError || error instanceof NotRawCountsError) {
      throw new UnreadableFrameError(error.message, { cause: error });
    }
    throw error;
  }
  throw new UnsuitableFormatError(
    `frames in the format "${blob.format}" are not read; FITS or raw counts are`,
  );
}

const noHeader = {
  exposureSeconds: undefined,
  startedUtcMs: undefined,
  gain: undefined,
  offset: undefined,
  sensorCelsius: undefined,
};

function frameFromFits(bytes: Uint8Array): ReceivedFrame {
  const hdus = readFitsInPlace(bytes, "the camera's frame");
  const image = hdus.find((hdu) => hdu.pixels !== undefined);
  if (!image?.pixels) throw new UnreadableFrameError("the camera's frame holds no image");
  const [heightPx, widthPx, ...more] =
    image.shape.length === 3 && image.shape[0] === 1 ? image.shape.slice(1) : image.shape;
  if (heightPx === undefined || widthPx === undefined || more.length > 0) {
    throw new UnsuitableFormatError(
      `the camera's frame has the axes ${image.shape.join(" x ")}; one plane is needed`,
    );
  }
  const { header } = image;
  return {
    pixelsAdu: countsFrom(image.pixels),
    widthPx,
    heightPx,
    exposureSeconds: header.number("EXPTIME") ?? header.number("EXPOSURE"),
    startedUtcMs: startOf(header),
    gain: header.number("GAIN"),
    offset: header.number("OFFSET") ?? header.number("BLKLEVEL"),
    sensorCelsius: header.number("CCD-TEMP"),
  };
}

/** DATE-OBS is UTC by the FITS standard and carries no zone. */
function startOf(header: FitsHeader): number | undefined {
  const text = header.text("DATE-OBS")?.trim();
  if (text === undefined || !/^\d{4}-\d\d-\d\dT/.test(text)) return undefined;
  const ms = Date.parse(text.endsWith("Z") ? text : `${text}Z`);
  return Number.isNaN(ms) ? undefined : ms;
}
