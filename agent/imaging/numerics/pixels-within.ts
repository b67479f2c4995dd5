import type { Shape } from "./shape.ts";

/** Visits the pixels of a frame within reach of a place. `dx`, `dy`, `r` are counted from it. */
export function forEachWithin(
  shape: Shape,
  xPx: number,
  yPx: number,
  reachPx: number,
  visit: (i: number, dx: number, dy: number, r: number) => void,
): void {
  const { widthPx, heightPx } = shape;
  for (
    let y = Math.max(0, Math.ceil(yPx - reachPx));
    y <= Math.min(heightPx - 1, Math.floor(yPx + reachPx));
    y++
  )
    for (
      let x = Math.max(0, Math.ceil(xPx - reachPx));
      x <= Math.min(widthPx - 1, Math.floor(xPx + reachPx));
      x++
    ) {
      const [dx, dy] = [x - xPx, y - yPx];
      const r = Math.sqrt(dx * dx + dy * dy); // Math.hypot is many times slower
      if (r <= reachPx) visit(y * widthPx + x, dx, dy, r);
    }
}
