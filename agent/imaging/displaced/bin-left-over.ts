import { logUnit, noLog } from "./frame-logs.ts";
import type { FrameView } from "./sweep-kernels.ts";

/** Means of residuals in blocks, in units of `logUnit`; a block with less than half of its pixels has none. */
export function binResidualFrames(
  { logs, widthPx, heightPx }: FrameView,
  residuals: Float32Array,
  sidePx: number,
  binned: Int16Array,
): void {
  const width = Math.floor(widthPx / sidePx);
  const height = Math.floor(heightPx / sidePx);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      let sum = 0;
      let count = 0;
      for (let row = 0; row < sidePx; row++) {
        const from = (y * sidePx + row) * widthPx + x * sidePx;
        for (let k = from; k < from + sidePx; k++) {
          if (logs[k]! === noLog) continue;
          sum += residuals[k]!;
          count++;
        }
      }
      const units = Math.round(sum / count / logUnit);
      binned[y * width + x] =
        2 * count < sidePx * sidePx ? noLog : units < -32767 ? -32767 : units > 32767 ? 32767 : units;
    }
  }
}
