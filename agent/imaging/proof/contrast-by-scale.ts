import type { Flat } from "../combining/normalise-flat.ts";
import { findTrustedPx } from "../combining/trusted-px.ts";
import { quantile } from "../numerics/order-statistics.ts";
import type { ScaleError } from "./error-budget.ts";

/** Blocks fainter than this share of the bright ones are sky or limb. */
const litLeast = 0.6;

/**
 * How much an image, flat divided out, differs from block to block: the Sun's structure and the image's own noise, beside
 * which an error of the flat is seen.
 * @param imageAdu as captured, like the flat in shape
 * @returns rms difference of neighbouring blocks over √2, share of their level; only scales with neighbours in the light
 */
export function contrastByScale(
  imageAdu: ArrayLike<number>,
  pedestalAdu: number,
  flat: Pick<Flat, "gain" | "mask" | "shape">,
  sidesPx: readonly number[],
): ScaleError[] {
  const { gain, shape } = flat;
  const usePx = findTrustedPx(flat);
  return sidesPx.flatMap((sidePx) => {
    const columns = Math.floor(shape.widthPx / sidePx);
    const rows = Math.floor(shape.heightPx / sidePx);
    const means = new Float64Array(columns * rows);
    for (let b = 0; b < means.length; b++) {
      const [left, top] = [(b % columns) * sidePx, Math.floor(b / columns) * sidePx];
      let [sum, count] = [0, 0];
      for (let y = top; y < top + sidePx; y++)
        for (let i = y * shape.widthPx + left; i < y * shape.widthPx + left + sidePx; i++)
          if (usePx[i] === 1) {
            sum += (imageAdu[i]! - pedestalAdu) / gain[i]!;
            count++;
          }
      means[b] = 2 * count >= sidePx * sidePx ? sum / count : 0;
    }
    const least = litLeast * (quantile(means, 0.9) ?? 0);
    let [squares, pairs] = [0, 0];
    const compare = (a: number, b: number) => {
      if (!(Math.min(a, b) > least)) return;
      squares += Math.log(a / b) ** 2 / 2;
      pairs++;
    };
    for (let b = 0; b < means.length; b++) {
      if ((b + 1) % columns !== 0) compare(means[b]!, means[b + 1]!);
      if (b + columns < means.length) compare(means[b]!, means[b + columns]!);
    }
    return pairs >= 4 ? [{ sidePx, rms: Math.sqrt(squares / pairs) }] : [];
  });
}
