import { fillInto } from "../numerics/map-into.ts";
import { median, quantile } from "../numerics/order-statistics.ts";

/** One unit of a stored logarithm; 16 bits then reach from 1/26 to 26 times a frame's median, to 0.003 % rms. */
export const logUnit = 1e-4;
/** Stored where a pixel of a frame has no value: masked, clipped, unlit, or beyond the usable disc. */
export const noLog = -32768;
/** A pixel below this share of its frame's median is not lit. */
const litFraction = 0.15;
/** A pixel below this share of the brightest ones does not see the Sun's disc. */
const onSunFraction = 0.2;

/** How another thread reaches the same logarithms: cloning this copies none of them. */
export type SharedLogs =
  | { readonly frames: readonly Int16Array[] }
  | { readonly handle: number; readonly path: string; readonly pxCount: number };

/** Natural logarithms of every frame over its own median, kept in memory or on disk. */
export interface FrameLogs {
  /** `undefined` where no other thread can reach them. */
  readonly shared?: SharedLogs;
  /** Pixels `startPx` to before `endPx` of a frame; read only, valid until the next call. */
  get(frameIndex: number, startPx: number, endPx: number): Int16Array;
  put(frameIndex: number, logs: Int16Array): void;
}

/** In memory that threads share: 2 bytes a pixel of each frame. */
export class FrameLogsInMemory implements FrameLogs {
  readonly #frames: Int16Array[];

  constructor(frames: readonly Int16Array[] = []) {
    this.#frames = [...frames];
  }

  get shared(): SharedLogs {
    return { frames: this.#frames };
  }

  get(frameIndex: number, startPx: number, endPx: number): Int16Array {
    return this.#frames[frameIndex]!.subarray(startPx, endPx);
  }

  put(frameIndex: number, logs: Int16Array): void {
    this.#frames[frameIndex] ??= new Int16Array(new SharedArrayBuffer(2 * logs.length));
    this.#frames[frameIndex].set(logs);
  }
}

/**
 * Logarithms of a frame over its median level.
 * @param levelsAdu above the dark; NaN where a pixel is not to be used
 * @returns the logarithm of the median level that was taken off, `undefined` for a frame without light
 */
export function toLogs(levelsAdu: Float32Array, logs: Int16Array): number | undefined {
  const every = Math.max(1, Math.floor(levelsAdu.length / 20_000)) | 1; // odd, so that it drifts over the columns
  const sample: number[] = [];
  for (let i = 0; i < levelsAdu.length; i += every) if (levelsAdu[i]! > 0) sample.push(levelsAdu[i]!);
  const middle = litMedian(sample);
  if (middle === undefined) return undefined;
  const lowest = litFraction * middle;
  const offset = Math.log(middle) / logUnit;
  const words = new Int32Array(levelsAdu.buffer, levelsAdu.byteOffset, levelsAdu.length);
  // Not above it for NaN either.
  for (let i = 0; i < levelsAdu.length; i++) {
    const level = levelsAdu[i]!;
    if (!(level > lowest)) {
      logs[i] = noLog;
      continue;
    }
    const word = words[i]!;
    const step = (word >> tableShift) & (tableSteps - 1);
    // To first order from the middle of the table's step; exact to 0.0003 units.
    const rest = (word & ((1 << tableShift) - 1)) - (1 << (tableShift - 1));
    const units = exponentUnits[word >> 23]! + mantissaUnits[step]! + rest * mantissaSlope[step]! - offset;
    logs[i] = units < 32767 ? Math.floor(units + 0.5) : 32767;
  }
  return Math.log(middle);
}

/** Of pixels on the Sun: where a small disc leaves most of the frame dark, that is the median of few. */
function litMedian(levels: readonly number[]): number | undefined {
  const bright = quantile(levels, 0.98);
  return bright === undefined ? undefined : median(levels.filter((level) => level > onSunFraction * bright));
}

const tableBits = 11;
const tableSteps = 1 << tableBits;
const tableShift = 23 - tableBits;
/** ln 2^e by a float32's exponent field, ln of its mantissa by the leading bits, and how that grows with the others. */
const exponentUnits = fillInto(new Float64Array(256), (k) => ((k - 127) * Math.LN2) / logUnit);
const mantissaUnits = fillInto(
  new Float64Array(tableSteps),
  (k) => Math.log(1 + (k + 0.5) / tableSteps) / logUnit,
);
const mantissaSlope = fillInto(
  new Float64Array(tableSteps),
  (k) => 1 / (1 + (k + 0.5) / tableSteps) / 2 ** 23 / logUnit,
);

/** Means over `side` x `side` pixels; a block with less than half of its pixels has no value. What is left over is cut off. */
export function binLogs(logs: Int16Array, widthPx: number, heightPx: number, side: number): Int16Array {
  const [width, height] = [Math.floor(widthPx / side), Math.floor(heightPx / side)];
  const binned = new Int16Array(width * height);
  const sums = new Int32Array(width);
  const counts = new Int32Array(width);
  for (let y = 0; y < height; y++) {
    sums.fill(0);
    counts.fill(0);
    for (let row = y * side; row < (y + 1) * side; row++) {
      for (let x = 0, from = row * widthPx; x < width; x++) {
        for (let k = 0; k < side; k++, from++) {
          const value = logs[from]!;
          if (value === noLog) continue;
          sums[x]! += value;
          counts[x]!++;
        }
      }
    }
    for (let x = 0; x < width; x++)
      binned[y * width + x] = 2 * counts[x]! < side * side ? noLog : Math.round(sums[x]! / counts[x]!);
  }
  return binned;
}
