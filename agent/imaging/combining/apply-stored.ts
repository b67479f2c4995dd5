import { type AppliedCounts, type FlatFactors, fillMaskedPixels } from "./apply.ts";
import { dividedPixel, roundedCount } from "./flat-division.ts";
import type { StoredDivision, StoredSums } from "./stored-division.ts";

export interface AppliedStored {
  readonly counts: AppliedCounts;
  /** Of the result before any pixel was mended; `undefined` if some were. */
  readonly resultSum: number | undefined;
  readonly rawSum: StoredSums["raw"];
}

/** As `applyToUint16` and `applyToFloat32`, for the image that lies in `stored.raw`; the result lies in `stored.result`. */
export function applyToStored(
  stored: StoredDivision,
  factors: FlatFactors,
  as: "float32" | "uint16",
  pedestalAdu: number,
): AppliedStored {
  const { clampedPx, sums } =
    as === "uint16" ? stored.toCounts(pedestalAdu) : { clampedPx: 0, ...stored.toReals(pedestalAdu) };
  const { mendPx, division } = factors;
  if (mendPx.length === 0)
    return { counts: { mendedPx: 0, leftPx: 0, clampedPx }, rawSum: sums.raw, resultSum: sums.result };
  const raw = viewOf(stored.raw);
  const valueAt = (px: number) => dividedPixel(raw.getUint16(2 * px) ^ 0x8000, px, division, pedestalAdu);
  const filled = fillMaskedPixels(factors, valueAt);
  let clampedNow = clampedPx;
  const result = viewOf(stored.result(0, stored.raw.length * (as === "uint16" ? 1 : 2)));
  for (const [k, px] of mendPx.entries()) {
    const value = filled.values[k]!;
    if (as === "float32") {
      result.setFloat32(4 * px, value);
      continue;
    }
    if (roundedCount(valueAt(px)).clamped) clampedNow--;
    const { count, clamped } = roundedCount(value);
    if (clamped) clampedNow++;
    result.setUint16(2 * px, count ^ 0x8000);
  }
  return { counts: { ...filled.counts, clampedPx: clampedNow }, rawSum: sums.raw, resultSum: undefined };
}

function viewOf({ buffer, byteOffset, byteLength }: Uint8Array): DataView {
  return new DataView(buffer, byteOffset, byteLength);
}
