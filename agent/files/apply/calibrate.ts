import type { Card } from "../../../drivers/formats/fits-card.ts";
import type { FitsPixels } from "../../../drivers/formats/fits-pixels.ts";
import {
  type AppliedCounts,
  applyToFloat32,
  applyToFloatImage,
  applyToUint16,
} from "../../imaging/combining/apply.ts";
import { straightenCounts } from "../../imaging/light/straighten.ts";
import { creatorCard } from "../../masters/creator-card.ts";
import type { Calibration } from "../flat-file.ts";

export interface Calibrated {
  readonly pixels: Float32Array | Uint16Array;
  readonly counts: AppliedCounts;
  readonly pedestalAdu: number;
}

/**
 * Dark off, divided by the flat, masked pixels filled.
 * @param arrays for the result; many images can share them
 */
export function calibrateImage(
  pixels: FitsPixels,
  as: "float32" | "uint16",
  calibration: Calibration,
  arrays = new SharedArrays(),
): Calibrated {
  const { factors, curve, dark } = calibration;
  const pedestalAdu = pedestalOf(calibration, as);
  const options = { pedestalAdu };
  if (pixels instanceof Uint16Array && !curve) {
    const { imageAdu, counts } =
      as === "uint16"
        ? applyToUint16(pixels, factors, options, arrays.counts(pixels.length))
        : applyToFloat32(pixels, factors, options, arrays.reals(pixels.length));
    return { pixels: imageAdu, counts, pedestalAdu };
  }
  const image = pixels instanceof Float32Array ? pixels : arrays.image(pixels.length);
  if (curve && dark) straightenCounts(pixels, dark.image.data, curve, image);
  else if (image !== pixels) image.set(pixels);
  const result = arrays.reals(pixels.length);
  const { imageAdu, counts } = applyToFloatImage(image, factors, options, result);
  if (as === "float32") return { pixels: imageAdu, counts, pedestalAdu };
  const rounded = roundToUint16(imageAdu, arrays.counts(pixels.length));
  return { pixels: rounded.pixels, counts: { ...counts, clampedPx: rounded.clampedPx }, pedestalAdu };
}

/** Arrays that many images of one size pass through one at a time: what lies in them is good until the next. */
export class SharedArrays {
  readonly image = reuseLast((length) => new Float32Array(length));
  readonly reals = reuseLast((length) => new Float32Array(length));
  readonly counts = reuseLast((length) => new Uint16Array(length));
}

function reuseLast<Numbers extends { readonly length: number }>(make: (length: number) => Numbers) {
  let last = make(0);
  return (length: number): Numbers => {
    if (last.length !== length) last = make(length);
    return last;
  };
}

/** What noise takes below a dark would be lost in unsigned numbers: they keep the dark's level as their floor. */
export function pedestalOf(calibration: Calibration, as: "float32" | "uint16"): number {
  return as === "uint16" ? calibration.darkLevelAdu : 0;
}

/** NaN becomes 0, as does what is below; both count as clamped. */
function roundToUint16(
  values: Float32Array,
  pixels: Uint16Array,
): { pixels: Uint16Array; clampedPx: number } {
  let clampedPx = 0;
  for (let i = 0; i < values.length; i++) {
    const value = Math.floor(values[i]! + 0.5);
    if (!(value >= 0 && value <= 65535)) clampedPx++;
    pixels[i] = value >= 0 ? Math.min(value, 65535) : 0;
  }
  return { pixels, clampedPx };
}

/** What was done to the pixels. */
export function resultCards(
  { counts, pedestalAdu }: Omit<Calibrated, "pixels">,
  { flat, dark, factors, curve }: Calibration,
): Card[] {
  const { mendedPx, leftPx, clampedPx } = counts;
  const history = [
    dark && `${dark.name} taken off`,
    curve && `counts straightened by the sensor's curve in ${flat.name}, as those of the flat were`,
    `divided by ${flat.name}; its mean over trusted pixels counts as 1`,
    mendedPx > 0 && `${mendedPx} masked pixels are the median of trusted neighbours`,
    factors.unlitPx > 0 && `${factors.unlitPx} pixels outside the flat's lit field are not divided`,
    leftPx > 0 && `${leftPx} masked pixels had no trusted neighbour and are as captured`,
    clampedPx > 0 && `${clampedPx} pixels were beyond 0 to 65535 and are held at the end`,
  ];
  return [
    { keyword: "BUNIT", value: "adu" },
    { keyword: "MENDED", value: mendedPx, comment: "pixels filled from their neighbours" },
    ...(pedestalAdu === 0
      ? []
      : [{ keyword: "PEDESTAL", value: pedestalAdu, comment: "[adu] added at the end" }]),
    creatorCard,
    ...history.filter(Boolean).map((text) => ({ keyword: "HISTORY", value: `evenfield apply: ${text}` })),
  ];
}
