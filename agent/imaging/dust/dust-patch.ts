import type { Shape } from "../numerics/shape.ts";

const samplesMax = 1000;

/** Pixels about a place, as a fit wants them. */
export interface Patch {
  readonly x: Float64Array;
  readonly y: Float64Array;
  readonly value: Float64Array;
  readonly count: number;
  /** Each value is the mean of a square of this side. */
  readonly sidePx: number;
  /** Scales the slopes to the size of the values. */
  readonly scalePx: number;
}

/** At most 1000 pixels, or so many; of a large patch the means of small squares, so that nothing of the light is wasted. */
export function patchAbout(
  residual: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
  xPx: number,
  yPx: number,
  reachPx: number,
  samples = samplesMax,
): Patch {
  const { widthPx, heightPx } = shape;
  const side = Math.max(1, Math.ceil(Math.sqrt((Math.PI * reachPx * reachPx) / samples)));
  const x: number[] = [];
  const y: number[] = [];
  const value: number[] = [];
  for (
    let v = Math.max(0, Math.floor(yPx - reachPx));
    v + side <= Math.min(heightPx, yPx + reachPx + 1);
    v += side
  )
    for (
      let u = Math.max(0, Math.floor(xPx - reachPx));
      u + side <= Math.min(widthPx, xPx + reachPx + 1);
      u += side
    ) {
      const [cx, cy] = [u + (side - 1) / 2, v + (side - 1) / 2];
      if (Math.hypot(cx - xPx, cy - yPx) > reachPx) continue;
      let sum = 0;
      let count = 0;
      for (let b = v; b < v + side; b++)
        for (let i = b * widthPx + u; i < b * widthPx + u + side; i++)
          if (usePx[i] === 1) {
            sum += residual[i]!;
            count++;
          }
      if (count * 2 < side * side || count === 0) continue;
      x.push(cx);
      y.push(cy);
      value.push(sum / count);
    }
  return {
    x: new Float64Array(x),
    y: new Float64Array(y),
    value: new Float64Array(value),
    count: x.length,
    sidePx: side,
    scalePx: reachPx,
  };
}
