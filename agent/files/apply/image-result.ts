import type { Card } from "../../../drivers/formats/fits-card.ts";
import { sumOfBytes } from "../../../drivers/formats/fits-checksum.ts";
import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import { headerBytes, paddedBytes } from "../../../drivers/formats/fits-header-write.ts";
import type { FitsPixels } from "../../../drivers/formats/fits-pixels.ts";
import { writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { writeWholeFile } from "../../../drivers/formats/whole-file.ts";
import type { AppliedCounts } from "../../imaging/combining/apply.ts";
import { applyToStored } from "../../imaging/combining/apply-stored.ts";
import { headRoomBytes, type StoredDivision } from "../../imaging/combining/stored-division.ts";
import type { Calibration } from "../flat-file.ts";
import { keptCards } from "../kept-cards.ts";
import { calibrateImage, pedestalOf, resultCards } from "./calibrate.ts";
import {
  findSaturation,
  type Saturation,
  saturationCards,
  saturationExtension,
  saturationHdu,
} from "./saturation.ts";

/** A picture that was read, and what it becomes. */
export interface ImageResult {
  /** FITS sum of the data as captured. */
  readonly rawSum: number;
  /** Divides it, unless that was done at once. */
  divide(): {
    readonly counts: AppliedCounts;
    readonly saturatedPx: number;
    /** @throws what writing throws */
    write(output: string, origin: readonly Card[], options: WriteOptions): void;
  };
}

interface WriteOptions {
  readonly writtenUtcMs: number;
  readonly replace: boolean;
}

/** How most images go, unsigned 16-bit counts of one plane: from file to file without a copy. */
export function storedDivisionFor(
  image: FitsFileImage,
  { factors, curve }: Calibration,
): StoredDivision | undefined {
  return image.layout.type === "uint16" && !curve ? factors.division.stored : undefined;
}

/** Reads the image into `stored.raw` and divides it there. */
export function divideInPlace(
  stored: StoredDivision,
  image: FitsFileImage,
  as: "float32" | "uint16",
  calibration: Calibration,
): ImageResult {
  image.readRaw(0, stored.raw);
  const pedestalAdu = pedestalOf(calibration, as);
  const { counts, rawSum, resultSum } = applyToStored(stored, calibration.factors, as, pedestalAdu);
  const dataBytes = stored.raw.length * (as === "uint16" ? 1 : 2);
  const shape = [image.rowCount, image.widthPx];
  const saturation = findSaturation(image, stored.mostAdu(), {
    count: stored.raw.length / 2,
    at: (px) => ((stored.raw[2 * px]! << 8) | stored.raw[2 * px + 1]!) ^ 0x8000,
    all: () => image.decodeRaw(stored.raw.slice()),
  });
  const write = (output: string, origin: readonly Card[], options: WriteOptions) => {
    const cards = cardsOf(image, origin, resultCards({ counts, pedestalAdu }, calibration), saturation);
    const dataSum = resultSum ?? sumOfBytes(stored.result(0, dataBytes));
    const head = headerBytes(
      { type: as, shape, cards },
      { index: 0, hduCount: saturation ? 2 : 1, writtenUtcMs: options.writtenUtcMs, dataSum },
    );
    const data = paddedBytes(dataBytes);
    const whole =
      head.length <= headRoomBytes
        ? stored.result(head.length, head.length + data)
        : new Uint8Array(head.length + data);
    if (head.length > headRoomBytes) whole.set(stored.result(0, data), head.length);
    whole.set(head);
    const behind = saturation && saturationExtension(saturation, shape, options.writtenUtcMs);
    writeWholeFile(output, behind ? Buffer.concat([whole, behind]) : whole, options);
  };
  return { rawSum, divide: () => ({ counts, saturatedPx: saturation?.px ?? 0, write }) };
}

/** Of any type of pixels, in arrays of its own. */
export function divideCopy(
  image: FitsFileImage,
  as: "float32" | "uint16",
  calibration: Calibration,
): ImageResult {
  const raw = image.newRaw(image.rowCount * image.widthPx);
  image.readRaw(0, raw);
  return {
    rawSum: sumOfBytes(raw),
    divide() {
      const pixels = image.decodeRaw(raw);
      const shape = [image.rowCount, image.widthPx];
      const saturation = findSaturation(image, highestOf(pixels), {
        count: pixels.length,
        at: (px) => pixels[px]!,
        all: () => pixels,
      });
      const result = calibrateImage(pixels, as, calibration);
      const write = (output: string, origin: readonly Card[], options: WriteOptions) => {
        const cards = cardsOf(image, origin, resultCards(result, calibration), saturation);
        const hdu = { pixels: result.pixels, shape, cards };
        const behind = saturation ? [saturationHdu(saturation, shape)] : [];
        writeFitsFile(output, [hdu, ...behind], options);
      };
      return { counts: result.counts, saturatedPx: saturation?.px ?? 0, write };
    },
  };
}

function cardsOf(
  image: FitsFileImage,
  origin: readonly Card[],
  result: readonly Card[],
  saturation: Saturation | undefined,
): Card[] {
  const kept = keptCards(image.header.cards).filter(({ keyword }) => !saturation || keyword !== "SATURATE");
  return [...kept, ...origin, ...result, ...(saturation ? saturationCards(saturation) : [])];
}

function highestOf(pixels: FitsPixels): number {
  let most = Number.NEGATIVE_INFINITY;
  for (let i = 0; i < pixels.length; i++) if (pixels[i]! > most) most = pixels[i]!;
  return most;
}
