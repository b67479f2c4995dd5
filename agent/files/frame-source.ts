import type { Card } from "../../drivers/formats/fits-card.ts";
import type { FitsFile, FitsFileImage } from "../../drivers/formats/fits-file.ts";
import { FitsHeader } from "../../drivers/formats/fits-header.ts";
import type { FitsPixels } from "../../drivers/formats/fits-pixels.ts";
import { SerFile } from "../../drivers/formats/ser-file.ts";
import { explainFileErrors } from "./input-error.ts";
import { serCards, serFrameHeader, serWarnings } from "./ser-cards.ts";

/** Frames of one size, one after another in a file. */
export interface FrameSource extends Disposable {
  readonly path: string;
  readonly widthPx: number;
  readonly rowCount: number;
  readonly frameCount: number;
  /** Of one frame as it lies in the file. */
  readonly frameBytes: number;
  /** What can be compared with the headers of flat and dark. */
  readonly header: FitsHeader;
  /** What a FITS file made of it says. */
  readonly cards: readonly Card[];
  /** Each as a picture of its own. */
  frames(): readonly FitsFileImage[];
  /** The container, where a result can be of the same kind. */
  readonly ser: SerFile | undefined;
  readonly warnings: readonly string[];
  readRaw(frameIndex: number, into: Uint8Array): void;
  /** `raw` is used up: its bytes may become the pixels. */
  decode(raw: Uint8Array<ArrayBuffer>): FitsPixels;
}

/** By its name; recorders write nothing else that is common to all. */
export function isSerName(path: string): boolean {
  return /\.ser$/i.test(path);
}

/** @throws InputError if it is no SER file of one value a pixel */
export function openSer(path: string): FrameSource {
  const ser = explainFileErrors(path, () => SerFile.open(path));
  const cards = serCards(ser);
  return {
    path,
    widthPx: ser.header.widthPx,
    rowCount: ser.header.heightPx,
    frameCount: ser.frameCount,
    frameBytes: ser.frameBytes,
    // Its names are of another program's making: no two would agree.
    header: new FitsHeader(cards.filter(({ keyword }) => keyword === "BAYERPAT")),
    cards,
    frames: () => ser.images(serFrameHeader(ser)),
    ser,
    warnings: serWarnings(ser),
    readRaw: (frameIndex, into) => ser.readRaw(frameIndex, into),
    decode: (raw) => ser.decode(raw),
    [Symbol.dispose]: () => ser[Symbol.dispose](),
  };
}

/** Whether an image is frames one after another rather than one picture. */
export function isCube(image: FitsFileImage): boolean {
  return image.shape.length === 3 && image.shape[0]! > 1;
}

/** The frames of a FITS cube, whose file the source closes. */
export function cubeSource(file: FitsFile, image: FitsFileImage): FrameSource {
  const [frameCount, rowCount, widthPx] = image.shape as [number, number, number];
  const framePx = rowCount * widthPx;
  return {
    path: image.path,
    widthPx,
    rowCount,
    frameCount,
    frameBytes: framePx * image.layout.bytesPerPixel,
    header: image.header,
    cards: image.header.cards,
    frames: () => image.planes(),
    ser: undefined,
    warnings: [],
    readRaw: (frameIndex, into) => image.readRaw(frameIndex * framePx, into),
    decode: (raw) => image.decodeRaw(raw),
    [Symbol.dispose]: () => file.close(),
  };
}
