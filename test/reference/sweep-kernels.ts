import { logUnit, noLog } from "../../agent/imaging/displaced/frame-logs.ts";
import type { FrameView, MakeKernels, ShiftSums } from "../../agent/imaging/displaced/sweep-kernels.ts";

/** In plain TypeScript: what the compiled ones are held to. */
export const plainKernels: MakeKernels = () => ({
  floats: (length) => new Float32Array(length),
  count,
  scatter,
  gather,
  normal,
  squares,
  shiftSums,
});

function count(frame: FrameView, gainCount: Float32Array, objectCount: Float32Array): number {
  const { logs, widthPx, heightPx, weight } = frame;
  const row = new Float32Array(widthPx + 2);
  let valid = 0;
  for (let y = 0; y < heightPx; y++) {
    const start = y * widthPx;
    for (let x = 0; x < widthPx; x++) {
      const one = logs[start + x]! === noLog ? 0 : weight;
      row[x + 1] = one;
      gainCount[start + x]! += one;
      valid += one;
    }
    spread(row, frame, y, objectCount);
  }
  return valid;
}

function scatter(frame: FrameView, level: number, gain: Float32Array, objectSum: Float32Array): void {
  const { logs, widthPx, heightPx, weight } = frame;
  const row = new Float32Array(widthPx + 2);
  for (let y = 0; y < heightPx; y++) {
    const start = y * widthPx;
    for (let x = 0; x < widthPx; x++) {
      const log = logs[start + x]!;
      row[x + 1] = log === noLog ? 0 : weight * (log * logUnit - level - gain[start + x]!);
    }
    spread(row, frame, y, objectSum);
  }
}

/** Tᵀ of one row: `row` starts and ends with a zero. */
function spread(row: Float32Array, frame: FrameView, y: number, onto: Float32Array): void {
  const { rightShare, lowerShare, index } = frame.place;
  const upper = index + y * frame.gridWidthPx;
  const lower = upper + frame.gridWidthPx;
  const [leftShare, upperShare] = [1 - rightShare, 1 - lowerShare];
  for (let x = 0; x <= frame.widthPx; x++) {
    const t = leftShare * row[x + 1]! + rightShare * row[x]!;
    onto[upper + x]! += upperShare * t;
    onto[lower + x]! += lowerShare * t;
  }
}

/** The four shares of bilinear sampling. */
function sharesOf(frame: FrameView) {
  const { rightShare, lowerShare } = frame.place;
  return {
    upperLeft: (1 - rightShare) * (1 - lowerShare),
    upperRight: rightShare * (1 - lowerShare),
    lowerLeft: (1 - rightShare) * lowerShare,
    lowerRight: rightShare * lowerShare,
  };
}

function gather(
  frame: FrameView,
  level: number,
  gain: Float32Array,
  object: Float32Array,
  gainSum: Float32Array,
): number {
  const { logs, widthPx, heightPx, place, gridWidthPx, weight } = frame;
  const { upperLeft, upperRight, lowerLeft, lowerRight } = sharesOf(frame);
  let sum = 0;
  for (let y = 0; y < heightPx; y++) {
    const start = y * widthPx;
    const upper = place.index + y * gridWidthPx;
    const lower = upper + gridWidthPx;
    for (let x = 0; x < widthPx; x++) {
      const log = logs[start + x]!;
      if (log === noLog) continue;
      const seen =
        upperLeft * object[upper + x]! +
        upperRight * object[upper + x + 1]! +
        lowerLeft * object[lower + x]! +
        lowerRight * object[lower + x + 1]!;
      const q = weight * (log * logUnit - level - gain[start + x]! - seen);
      gainSum[start + x]! += q;
      sum += q;
    }
  }
  return sum;
}

function squares(
  frame: FrameView,
  level: number,
  gain: Float32Array,
  object: Float32Array,
  squareSum: Float32Array,
): number {
  const { logs, widthPx, heightPx, place, gridWidthPx, weight } = frame;
  const { upperLeft, upperRight, lowerLeft, lowerRight } = sharesOf(frame);
  let sum = 0;
  for (let y = 0; y < heightPx; y++) {
    const start = y * widthPx;
    const upper = place.index + y * gridWidthPx;
    const lower = upper + gridWidthPx;
    for (let x = 0; x < widthPx; x++) {
      const log = logs[start + x]!;
      if (log === noLog) continue;
      const seen =
        upperLeft * object[upper + x]! +
        upperRight * object[upper + x + 1]! +
        lowerLeft * object[lower + x]! +
        lowerRight * object[lower + x + 1]!;
      const q = log * logUnit - level - gain[start + x]! - seen;
      squareSum[start + x]! += weight * q * q;
      sum += weight * q * q;
    }
  }
  return sum;
}

function normal(
  frame: FrameView,
  factors: { readonly data: number; readonly sign: 1 | -1 },
  level: number,
  gain: Float32Array,
  object: Float32Array,
  sums: { readonly gain: Float32Array; readonly object: Float32Array },
): number {
  const { logs, widthPx, heightPx, place, gridWidthPx, weight } = frame;
  const { upperLeft, upperRight, lowerLeft, lowerRight } = sharesOf(frame);
  const dataUnit = factors.data * logUnit;
  const { sign } = factors;
  const gainSum = sums.gain;
  const row = new Float32Array(widthPx + 2);
  let sum = 0;
  for (let y = 0; y < heightPx; y++) {
    const start = y * widthPx;
    const upper = place.index + y * gridWidthPx;
    const lower = upper + gridWidthPx;
    for (let x = 0; x < widthPx; x++) {
      const log = logs[start + x]!;
      if (log === noLog) {
        row[x + 1] = 0;
        continue;
      }
      const seen =
        upperLeft * object[upper + x]! +
        upperRight * object[upper + x + 1]! +
        lowerLeft * object[lower + x]! +
        lowerRight * object[lower + x + 1]!;
      const q = weight * (dataUnit * log - sign * (level + gain[start + x]! + seen));
      row[x + 1] = q;
      gainSum[start + x]! += q;
      sum += q;
    }
    spread(row, frame, y, sums.object);
  }
  return sum;
}

function shiftSums(
  frame: FrameView,
  level: number,
  gain: Float32Array,
  object: Float32Array,
  limit: number,
): ShiftSums {
  const { logs, widthPx, heightPx, place, gridWidthPx } = frame;
  const { rightShare, lowerShare } = place;
  const { upperLeft, upperRight, lowerLeft, lowerRight } = sharesOf(frame);
  let [rx, ry, xx, xy, yy] = [0, 0, 0, 0, 0];
  for (let y = 0; y < heightPx; y++) {
    const start = y * widthPx;
    const upper = place.index + y * gridWidthPx;
    const lower = upper + gridWidthPx;
    for (let x = 0; x < widthPx; x++) {
      const log = logs[start + x]!;
      if (log === noLog) continue;
      const a = object[upper + x]!;
      const b = object[upper + x + 1]!;
      const c = object[lower + x]!;
      const d = object[lower + x + 1]!;
      const q =
        log * logUnit -
        level -
        gain[start + x]! -
        (upperLeft * a + upperRight * b + lowerLeft * c + lowerRight * d);
      const limited = q > limit ? limit : q < -limit ? -limit : q;
      const gx = (1 - lowerShare) * (b - a) + lowerShare * (d - c);
      const gy = (1 - rightShare) * (c - a) + rightShare * (d - b);
      rx += limited * gx;
      ry += limited * gy;
      xx += gx * gx;
      xy += gx * gy;
      yy += gy * gy;
    }
  }
  return { rx, ry, xx, xy, yy };
}
