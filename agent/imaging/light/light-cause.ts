import { leastSquares } from "../numerics/linear-solve.ts";
import { median } from "../numerics/order-statistics.ts";
import type { LightMap } from "./light-map.ts";

/** What kind of unevenness a map of the light's error shows. */
export type LightCause =
  | { readonly kind: "falls off"; readonly atCorner: number }
  | { readonly kind: "patch"; readonly xPx: number; readonly yPx: number; readonly excess: number }
  | { readonly kind: "uneven" };

/** So much of the map's square is a bowl, or lies about its peak, when that is what it is. */
const mostly = 0.6;
/** A bowl's two curvatures are alike within this. */
const bowlRatio = 4;
/** How far a patch reaches about its middle, of the frame's short side. */
const patchReach = 0.25;

/** The simplest description that holds most of what a map shows; `undefined` for a map without blocks. */
export function causeOfMap({
  sidePx,
  columns,
  rows,
  error,
}: Pick<LightMap, "sidePx" | "columns" | "rows" | "error">): LightCause | undefined {
  const [halfX, halfY] = [(columns * sidePx) / 2, (rows * sidePx) / 2];
  const blocks = error.flatMap((value, b) => {
    const [x, y] = [((b % columns) + 0.5) * sidePx, (Math.floor(b / columns) + 0.5) * sidePx];
    return Number.isNaN(value) ? [] : [{ value, x, y }];
  });
  const values = blocks.map(({ value }) => value);
  const all = squareOf(values);
  if (blocks.length < 10 || all === 0) return undefined;
  // Both curvatures from the middle to a corner.
  const corner2 = halfX ** 2 + halfY ** 2;
  const design = blocks.map(({ x, y }) => {
    const [u, v] = [x - halfX, y - halfY];
    return [1, u / halfX, v / halfY, u ** 2 / corner2, v ** 2 / corner2];
  });
  const bowl = leastSquares(design, values)?.solution as [number, number, number, number, number] | undefined;
  if (bowl) {
    const [, , , across, down] = bowl;
    const left = squareOf(
      values.map((value, k) => value - design[k]!.reduce((sum, term, t) => sum + term * bowl[t]!, 0)),
    );
    const isRound = across * down > 0 && Math.abs(Math.log(across / down)) < Math.log(bowlRatio);
    if (isRound && left < (1 - mostly) * all)
      return { kind: "falls off", atCorner: -(across * halfX ** 2 + down * halfY ** 2) / corner2 };
  }
  const usual = median(values) ?? 0;
  const off = blocks.map((block) => ({ ...block, value: block.value - usual }));
  const peak = off.reduce((most, one) => (Math.abs(one.value) > Math.abs(most.value) ? one : most));
  const near = off.filter(
    ({ x, y }) => Math.hypot(x - peak.x, y - peak.y) < patchReach * 2 * Math.min(halfX, halfY),
  );
  if (squareOf(near.map(({ value }) => value)) > mostly * squareOf(off.map(({ value }) => value)))
    return { kind: "patch", xPx: Math.round(peak.x), yPx: Math.round(peak.y), excess: peak.value };
  return { kind: "uneven" };
}

function squareOf(values: readonly number[]): number {
  return values.reduce((sum, one) => sum + one * one, 0);
}
