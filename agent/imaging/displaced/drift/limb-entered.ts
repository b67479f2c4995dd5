import { median } from "../../numerics/order-statistics.ts";
import type { Shape } from "../../numerics/shape.ts";

const blocksAcross = 8;
/** Inside 0.45 R limb darkening takes a tenth, and a median passes over all but the largest spots. */
const leastOfUsual = 0.6;
const samplesPerBlock = 400;

/** Median levels of 8 × 8 blocks over the whole frame's, above the pedestal; what the limb would darken. */
export function blockLevels(pixelsAdu: Uint16Array, shape: Shape, pedestalAdu: number): Float64Array {
  const levels = new Float64Array(blocksAcross * blocksAcross);
  const [wide, high] = [shape.widthPx / blocksAcross, shape.heightPx / blocksAcross];
  const every = Math.max(1, Math.floor(Math.sqrt((wide * high) / samplesPerBlock)));
  for (let block = 0; block < levels.length; block++) {
    const x0 = Math.floor((block % blocksAcross) * wide);
    const y0 = Math.floor(Math.floor(block / blocksAcross) * high);
    const sample: number[] = [];
    for (let y = y0; y < Math.floor(y0 + high); y += every)
      for (let x = x0; x < Math.floor(x0 + wide); x += every)
        sample.push(pixelsAdu[y * shape.widthPx + x]! - pedestalAdu);
    levels[block] = median(sample) ?? 0;
  }
  const whole = median([...levels]) || 1;
  return levels.map((level) => level / whole);
}

/** Whether part of a frame is so much darker than in a frame from the middle of the disc that only the limb explains it. */
export function hasLimbEntered(levels: Float64Array, atCentre: Float64Array): boolean {
  return levels.some((level, block) => level < leastOfUsual * atCentre[block]!);
}
