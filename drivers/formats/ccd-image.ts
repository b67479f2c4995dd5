import { given } from "../kit/given.ts";
import type { Card } from "./fits-card.ts";
import { FitsError } from "./fits-error.ts";
import { FitsFile } from "./fits-file.ts";
import type { FitsHeader } from "./fits-header.ts";
import type { HduPlan } from "./fits-header-write.ts";
import type { HduToWrite } from "./fits-write.ts";

/**
 * An image with one sigma and flags per pixel, laid out as astropy's `CCDData.read` expects it without arguments:
 * data in the primary HDU, extensions UNCERT (UTYPE says of what kind) and MASK (0 = to be trusted).
 */
export interface CcdImage {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly data: Float32Array;
  /** Standard deviation, in the unit of the data. */
  readonly sigma?: Float32Array;
  readonly mask?: Uint8Array;
}

export interface CcdLabels {
  /** Blank for a ratio: `CCDData.read` refuses a file without BUNIT and units that it does not know. */
  readonly unit: "adu" | "electron" | "";
  readonly cards: readonly Card[];
  /** COMMENT or other cards of the MASK extension, for instance what its bits mean. */
  readonly maskCards?: readonly Card[];
}

export function ccdHdus(image: CcdImage, labels: CcdLabels): HduToWrite[] {
  const { data, sigma, mask } = image;
  const plans = ccdPlans(image, labels, { sigma: sigma !== undefined, mask: mask !== undefined });
  const pixels = [data, sigma, mask].filter((part) => part !== undefined);
  return plans.map((plan, index) => ({ ...plan, pixels: pixels[index]! }));
}

/** The same before there are pixels, for `FitsFileWriter`: HDU 0 data, then UNCERT, then MASK, as far as asked for. */
export function ccdPlans(
  shapePx: { readonly widthPx: number; readonly heightPx: number },
  labels: CcdLabels,
  parts: { readonly sigma: boolean; readonly mask: boolean },
): HduPlan[] {
  const shape = [shapePx.heightPx, shapePx.widthPx];
  const unit: Card = {
    keyword: "BUNIT",
    value: labels.unit,
    comment: labels.unit === "" ? "a ratio" : "unit of a pixel",
  };
  const type: Card = { keyword: "UTYPE", value: "StdDevUncertainty", comment: "one sigma" };
  return [
    { type: "float32", shape, cards: [unit, ...labels.cards.filter((card) => card.keyword !== "BUNIT")] },
    ...(parts.sigma ? [{ type: "float32", shape, name: "UNCERT", cards: [unit, type] } as const] : []),
    ...(parts.mask ? [{ type: "uint8", shape, name: "MASK", cards: labels.maskCards ?? [] } as const] : []),
  ];
}

/**
 * Reads such an image back; the first image of any FITS file serves, with UNCERT and MASK where there are.
 * @throws FitsError, also for extensions of another size
 */
export function readCcdImage(path: string): CcdImage & { readonly header: FitsHeader } {
  using file = FitsFile.open(path);
  const image = file.image();
  const extension = (name: string) => {
    const found = file.findImage(name);
    if (found && (found.rowCount !== image.rowCount || found.widthPx !== image.widthPx)) {
      throw new FitsError(`${path}: ${name} is not of the image's size`);
    }
    return found?.readRows(0, found.rowCount);
  };
  const data = image.readRows(0, image.rowCount);
  const sigma = extension("UNCERT");
  const mask = extension("MASK");
  return {
    header: image.header,
    widthPx: image.widthPx,
    heightPx: image.rowCount,
    data: data instanceof Float32Array ? data : new Float32Array(data),
    ...given({
      sigma: sigma && (sigma instanceof Float32Array ? sigma : new Float32Array(sigma)),
      mask: mask && (mask instanceof Uint8Array ? mask : new Uint8Array(mask)),
    }),
  };
}
