import type { Shape } from "./shape.ts";

/** Pixels `x0` to `x1` of row `y`. */
export interface Span {
  readonly y: number;
  readonly x0: number;
  readonly x1: number;
}

/**
 * The pixels of a frame within reach of a place, row by row: who loops over them has no call for every pixel.
 * @param every one row in so many
 */
export function spansWithin(
  { widthPx, heightPx }: Shape,
  xPx: number,
  yPx: number,
  reachPx: number,
  every = 1,
): Span[] {
  const spans: Span[] = [];
  const last = Math.min(heightPx - 1, Math.floor(yPx + reachPx));
  for (let y = Math.max(0, Math.ceil(yPx - reachPx)); y <= last; y += every) {
    const half = Math.sqrt(Math.max(0, reachPx ** 2 - (y - yPx) ** 2));
    const x0 = Math.max(0, Math.ceil(xPx - half));
    const x1 = Math.min(widthPx - 1, Math.floor(xPx + half));
    if (x0 <= x1) spans.push({ y, x0, x1 });
  }
  return spans;
}
