import type { Card } from "./fits-card.ts";
import { FitsFile } from "./fits-file.ts";
import type { HduPlan, HduToWrite } from "./fits-write.ts";

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
  const pixels = [image.data, image.sigma, image.mask];
  return ccdPlans(image, labels, { sigma: image.sigma !== undefined, mask: image.mask !== undefined }).map(
    (plan) => ({
      ...plan,
      pixels: plan.name === "UNCERT" ? pixels[1]! : plan.name === "MASK" ? pixels[2]! : pixels[0]!,
    }),
  );
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
 * Reads such an image back; any first image of a FITS file serves, UNCERT and MASK where they are.
 * @throws FitsError; RangeError-like messages for extensions of another shape
 */
export function readCcdImage(
  path: string,
): CcdImage & { readonly header: FitsFile["hdus"][number]["header"] } {
  using file = FitsFile.open(path);
  const image = file.image();
  const [heightPx, widthPx] = [image.rowCount, image.widthPx];
  const same = (name: string) => {
    const found = file.findImage(name);
    return found?.rowCount === heightPx && found.widthPx === widthPx
      ? found.readRows(0, heightPx)
      : undefined;
  };
  const sigma = same("UNCERT");
  const mask = same("MASK");
  return {
    header: image.header,
    widthPx,
    heightPx,
    data: Float32Array.from(image.readRows(0, heightPx)),
    ...(sigma === undefined ? {} : { sigma: Float32Array.from(sigma) }),
    ...(mask === undefined ? {} : { mask: Uint8Array.from(mask) }),
  };
}
