import {
  dividedPixel,
  type FlatDivision,
  type MakeDivision,
  roundedCount,
} from "../../agent/imaging/combining/flat-division.ts";

/** What the compiled ones are held to. */
export const plainDivision: MakeDivision<Omit<FlatDivision, "stored">> = (pxCount, withDark) => {
  const factor = new Float32Array(pxCount);
  const darkAdu = withDark ? new Float32Array(pxCount) : undefined;
  const parts = { factor, darkAdu };
  return {
    ...parts,
    divide(imageAdu, pedestalAdu, result) {
      for (let i = 0; i < imageAdu.length; i++) result[i] = dividedPixel(imageAdu[i]!, i, parts, pedestalAdu);
    },
    divideToCounts(imageAdu, pedestalAdu, result) {
      let clamped = 0;
      for (let i = 0; i < imageAdu.length; i++) {
        const rounded = roundedCount(dividedPixel(imageAdu[i]!, i, parts, pedestalAdu));
        result[i] = rounded.count;
        if (rounded.clamped) clamped++;
      }
      return clamped;
    },
  };
};
