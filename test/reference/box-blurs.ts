import { type BoxBlurs, boxAlongRows } from "../../agent/imaging/numerics/box-blur.ts";
import type { Shape } from "../../agent/imaging/numerics/shape.ts";

/** What the compiled one is held to. */
export const plainBoxBlurs: BoxBlurs = (picture, shape, radiiPx) => {
  const scratch = new Float32Array(picture.length);
  for (const radius of radiiPx) {
    boxAlongRows(picture, scratch, shape, radius);
    alongColumns(scratch, picture, shape, radius);
  }
};

function alongColumns(from: Float32Array, into: Float32Array, shape: Shape, radius: number): void {
  const { widthPx, heightPx } = shape;
  const norm = 1 / (2 * radius + 1);
  const sums = new Float64Array(widthPx);
  for (let y = 0; y < Math.min(radius, heightPx); y++)
    for (let x = 0; x < widthPx; x++) sums[x]! += from[y * widthPx + x]!;
  for (let y = 0; y < heightPx; y++) {
    const enters = (y + radius) * widthPx;
    const leaves = (y - radius - 1) * widthPx;
    if (y + radius < heightPx) for (let x = 0; x < widthPx; x++) sums[x]! += from[enters + x]!;
    if (y - radius - 1 >= 0) for (let x = 0; x < widthPx; x++) sums[x]! -= from[leaves + x]!;
    for (let x = 0; x < widthPx; x++) into[y * widthPx + x] = sums[x]! * norm;
  }
}
