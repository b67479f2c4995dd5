import type { Card } from "../../../drivers/formats/fits-card.ts";
import { sumOfBytes } from "../../../drivers/formats/fits-checksum.ts";
import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import { headerBytes, paddedBytes } from "../../../drivers/formats/fits-header-write.ts";
import { writeWholeFile } from "../../../drivers/formats/whole-file.ts";
import type { AppliedCounts } from "../../imaging/combining/apply.ts";
import { applyToStored } from "../../imaging/combining/apply-stored.ts";
import { headRoomBytes, type StoredDivision } from "../../imaging/combining/stored-division.ts";
import type { Calibration } from "../flat-file.ts";
import { keptCards } from "../kept-cards.ts";
import { pedestalOf, resultCards } from "./calibrate.ts";

/** The way of most images, unsigned 16-bit counts of one plane: from file to file without a copy. */
export function storedWay(image: FitsFileImage, { factors }: Calibration): StoredDivision | undefined {
  return image.layout.type === "uint16" ? factors.division.stored : undefined;
}

export interface DividedStored {
  readonly counts: AppliedCounts;
  readonly rawSum: number;
  /** Writes the result. @throws what writing throws */
  readonly write: (
    output: string,
    origin: readonly Card[],
    options: { readonly writtenUtcMs: number; readonly replace: boolean },
  ) => void;
}

/** Divides the image that was read into `stored.raw`. */
export function divideStored(
  stored: StoredDivision,
  image: FitsFileImage,
  as: "float32" | "uint16",
  calibration: Calibration,
): DividedStored {
  const pedestalAdu = pedestalOf(calibration, as);
  const { counts, rawSum, resultSum } = applyToStored(stored, calibration.factors, as, pedestalAdu);
  const dataBytes = stored.raw.length * (as === "uint16" ? 1 : 2);
  return {
    counts,
    rawSum,
    write(output, origin, options) {
      const cards = [
        ...keptCards(image.header.cards),
        ...origin,
        ...resultCards({ counts, pedestalAdu }, calibration),
      ];
      const dataSum = resultSum ?? sumOfBytes(stored.result(0, dataBytes));
      const head = headerBytes(
        { type: as, shape: [image.rowCount, image.widthPx], cards },
        { index: 0, hduCount: 1, writtenUtcMs: options.writtenUtcMs, dataSum },
      );
      const data = paddedBytes(dataBytes);
      const whole =
        head.length <= headRoomBytes
          ? stored.result(head.length, head.length + data)
          : new Uint8Array(head.length + data);
      if (head.length > headRoomBytes) whole.set(stored.result(0, data), head.length);
      whole.set(head);
      writeWholeFile(output, whole, options);
    },
  };
}
