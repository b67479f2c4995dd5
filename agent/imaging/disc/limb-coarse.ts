import type { Shape } from "../numerics/shape.ts";
import type { EdgePoint } from "./ransac.ts";

/** A frame made small: signal above the pedestal, hot pixels gone, fine texture smoothed away. */
export interface CoarseFrame extends Shape {
  /** Row-major [adu above pedestal]. */
  readonly signalAdu: Float64Array;
  /** Frame pixels along one side of a coarse pixel. */
  readonly factor: number;
}

/** Coarse pixels along the longer side: enough for a disc a fifth of the frame, quick on any sensor. */
const coarseSidePx = 200;

/** Block means of the frame, then a 3 × 3 median: a hot pixel or a cosmic ray leaves no edge. */
export function coarseFrame(pixelsAdu: Uint16Array, shape: Shape, pedestalAdu: number): CoarseFrame {
  const factor = Math.max(1, Math.round(Math.max(shape.widthPx, shape.heightPx) / coarseSidePx));
  const widthPx = Math.floor(shape.widthPx / factor);
  const heightPx = Math.floor(shape.heightPx / factor);
  const blocks = new Float64Array(widthPx * heightPx);
  for (let y = 0; y < heightPx * factor; y++) {
    const row = Math.floor(y / factor) * widthPx;
    const from = y * shape.widthPx;
    for (let x = 0; x < widthPx; x++) {
      let sum = 0;
      for (let k = 0; k < factor; k++) sum += pixelsAdu[from + x * factor + k]!;
      blocks[row + x]! += sum;
    }
  }
  const area = factor * factor;
  for (let i = 0; i < blocks.length; i++) blocks[i] = blocks[i]! / area - pedestalAdu;
  return { signalAdu: medianOf9(blocks, widthPx, heightPx), widthPx, heightPx, factor };
}

function medianOf9(values: Float64Array, width: number, height: number): Float64Array {
  const out = new Float64Array(values.length);
  const nine = new Float64Array(9);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      let n = 0;
      for (let dy = -1; dy <= 1; dy++) {
        const row = Math.min(height - 1, Math.max(0, y + dy)) * width;
        for (let dx = -1; dx <= 1; dx++) {
          const value = values[row + Math.min(width - 1, Math.max(0, x + dx))]!;
          let k = n++; // insertion sort: nine values
          while (k > 0 && nine[k - 1]! > value) {
            nine[k] = nine[k - 1]!;
            k--;
          }
          nine[k] = value;
        }
      }
      out[y * width + x] = nine[4]!;
    }
  }
  return out;
}

/**
 * Thin edges of the coarse frame in frame pixels, each with the direction in which it gets brighter.
 * Slopes below `shareOfSteepest` of the frame's steepest (99.8th percentile) are texture, glare or vignetting.
 */
export function coarseEdges(coarse: CoarseFrame, shareOfSteepest = 0.25): EdgePoint[] {
  const { widthPx: width, heightPx: height, factor } = coarse;
  const smooth = smoothed(smoothed(coarse.signalAdu, width, height), width, height);
  const slopeX = new Float64Array(smooth.length);
  const slopeY = new Float64Array(smooth.length);
  const slope = new Float64Array(smooth.length);
  for (let y = 1; y < height - 1; y++) {
    for (let x = 1; x < width - 1; x++) {
      const i = y * width + x;
      slopeX[i] = (smooth[i + 1]! - smooth[i - 1]!) / 2;
      slopeY[i] = (smooth[i + width]! - smooth[i - width]!) / 2;
      slope[i] = Math.hypot(slopeX[i]!, slopeY[i]!);
    }
  }
  const steepest = new Float64Array(slope).sort()[Math.floor(slope.length * 0.998)]!;
  const least = shareOfSteepest * steepest;
  const edges: EdgePoint[] = [];
  if (!(steepest > 0)) return edges;
  for (let y = 2; y < height - 2; y++) {
    for (let x = 2; x < width - 2; x++) {
      const i = y * width + x;
      const here = slope[i]!;
      if (here < least) continue;
      const ux = slopeX[i]! / here;
      const uy = slopeY[i]! / here;
      const step = Math.round(uy) * width + Math.round(ux); // the neighbour up the slope
      if (here < slope[i + step]! || here <= slope[i - step]!) continue;
      edges.push({
        xPx: (x + 0.5) * factor - 0.5,
        yPx: (y + 0.5) * factor - 0.5,
        towardsX: ux,
        towardsY: uy,
      });
    }
  }
  return edges;
}

/** One pass of the 1-2-1 kernel in both directions; edges repeat the outermost pixel. */
function smoothed(values: Float64Array, width: number, height: number): Float64Array {
  const rows = new Float64Array(values.length);
  const out = new Float64Array(values.length);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      const left = x > 0 ? values[i - 1]! : values[i]!;
      const right = x < width - 1 ? values[i + 1]! : values[i]!;
      rows[i] = (left + 2 * values[i]! + right) / 4;
    }
  }
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      const above = y > 0 ? rows[i - width]! : rows[i]!;
      const below = y < height - 1 ? rows[i + width]! : rows[i]!;
      out[i] = (above + 2 * rows[i]! + below) / 4;
    }
  }
  return out;
}
