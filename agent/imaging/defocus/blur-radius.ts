import type { Shape } from "../numerics/shape.ts";

export interface BlurRadius {
  readonly radiusPx: number;
  /** Share of the difference between both pictures that blur by such a pupil explains. */
  readonly explained: number;
}

/** Larger pictures are averaged down to about so many pixels. */
const pixelsMax = 300_000;
/** Less than that explained is no blur of this picture. */
const explainedLeast = 0.5;

/**
 * Radius of the out-of-focus pupil, an evenly lit disc, that makes the blurred picture of the sharp one.
 * Both should be divided by the rig's own pattern: it is not blurred.
 * @param usePx 1 where both can be used; a pixel counts when all within the radius can be
 * @returns `undefined` when no radius up to `mostPx` explains the difference: nothing to see, or too much blur
 */
export function blurRadius(
  sharp: Float32Array,
  blurred: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
  mostPx: number,
): BlurRadius | undefined {
  const bin = Math.max(1, Math.ceil(Math.sqrt((shape.widthPx * shape.heightPx) / pixelsMax)));
  const [a, b, use] = [sharp, blurred, new Float32Array(usePx)].map((one) => binned(one, shape, bin)) as [
    Float32Array,
    Float32Array,
    Float32Array,
  ];
  const small = { widthPx: Math.floor(shape.widthPx / bin), heightPx: Math.floor(shape.heightPx / bin) };
  const whole = use.map((share) => (share > 0.999 ? 1 : 0));
  const most = Math.min(mostPx / bin, Math.min(small.widthPx, small.heightPx) / 6);
  const borderPx = Math.ceil(most) + 1;
  const discSums = (picture: Float32Array) => {
    const running = runningSums(picture, small);
    return (radius: number) => discSumInside(running, small, borderPx, radius);
  };
  const count = discSums(whole)(most);
  const area = discSums(new Float32Array(whole.length).fill(1))(most);
  const inside = count.map((value, i) => (value > 0.999 * area[i]! ? 1 : 0));
  const scale = levelRatio(a, b, inside);
  const sumsOfSharp = discSums(a);
  const leftover = (radius: number) => {
    const [means, areaPx] = [sumsOfSharp(radius), discArea(radius)];
    for (let i = 0; i < means.length; i++) means[i]! /= areaPx;
    return squareOff(means, b, inside, scale);
  };
  const unblurred = squareOff(a, b, inside, scale);
  if (!(unblurred > 0)) return undefined;
  const trials = Array.from({ length: 16 }, (_, k) => 0.6 * (most / 0.6) ** (k / 15));
  const values = trials.map(leftover);
  const k = values.indexOf(Math.min(...values));
  if (k === trials.length - 1) return undefined; // the best may lie beyond
  let [low, high] = [trials[Math.max(0, k - 1)]!, trials[k + 1]!];
  for (let round = 0; round < 12; round++) {
    const [left, right] = [low + (high - low) * 0.382, low + (high - low) * 0.618];
    if (leftover(left) < leftover(right)) high = right;
    else low = left;
  }
  const radius = (low + high) / 2;
  const explained = 1 - leftover(radius) / unblurred;
  return explained < explainedLeast ? undefined : { radiusPx: radius * bin, explained };
}

function binned(picture: Float32Array, { widthPx, heightPx }: Shape, bin: number): Float32Array {
  if (bin === 1) return picture;
  const [w, h] = [Math.floor(widthPx / bin), Math.floor(heightPx / bin)];
  const out = new Float32Array(w * h);
  for (let y = 0; y < h * bin; y++)
    for (let x = 0; x < w * bin; x++)
      out[Math.floor(y / bin) * w + Math.floor(x / bin)]! += picture[y * widthPx + x]! / (bin * bin);
  return out;
}

function levelRatio(a: Float32Array, b: Float32Array, use: Float32Array): number {
  let [sumA, sumB] = [0, 0];
  for (let i = 0; i < a.length; i++) {
    if (use[i] !== 1) continue;
    sumA += a[i]!;
    sumB += b[i]!;
  }
  return sumA > 0 ? sumB / sumA : 0;
}

/** Of one frame over another, their means brought together: what is left is noise and what blur does not explain. */
function squareOff(a: Float32Array, b: Float32Array, use: Float32Array, scale: number): number {
  let [squares, sum, count] = [0, 0, 0];
  for (let i = 0; i < a.length; i++) {
    if (use[i] !== 1) continue;
    const off = b[i]! - scale * a[i]!;
    squares += off * off;
    sum += off;
    count++;
  }
  return count > 0 ? squares / count - (sum / count) ** 2 : 0;
}

function discArea(radius: number): number {
  const rows = Math.ceil(radius);
  let area = 0;
  for (let dy = -rows; dy <= rows; dy++) area += 2 * halfChord(radius, dy);
  return area;
}

/**
 * Sums over a disc about every pixel within the border, chord by chord; their ends count by fractions. 0 in the border.
 * @param borderPx more than the radius by a pixel, so that no chord reaches an edge
 */
function discSumInside(running: Float64Array, shape: Shape, borderPx: number, radius: number): Float32Array {
  const { widthPx, heightPx } = shape;
  const out = new Float32Array(widthPx * heightPx);
  const rows = Math.ceil(radius);
  for (let dy = -rows; dy <= rows; dy++) {
    const half = halfChord(radius, dy);
    if (half <= 0) continue;
    const reach = { first: borderPx, end: widthPx - borderPx, half };
    for (let y = borderPx; y < heightPx - borderPx; y++)
      addChords(out, y * widthPx, running, (y + dy) * (widthPx + 1), reach);
  }
  return out;
}

/** To the pixels of a row from `first` to before `end`. */
function addChords(
  out: Float32Array,
  start: number,
  running: Float64Array,
  from: number,
  { first, end, half }: { readonly first: number; readonly end: number; readonly half: number },
): void {
  const whole = Math.floor(half - 0.5);
  const part = half - 0.5 - whole;
  for (let x = first; x < end; x++) {
    const right = from + x + 1 + whole;
    const left = from + x - whole;
    out[start + x]! +=
      running[right]! +
      part * (running[right + 1]! - running[right]!) -
      running[left]! +
      part * (running[left]! - running[left - 1]!);
  }
}

/** Of every row, from its left edge up to a column. */
function runningSums(picture: Float32Array, { widthPx, heightPx }: Shape): Float64Array {
  const running = new Float64Array((widthPx + 1) * heightPx);
  for (let y = 0; y < heightPx; y++)
    for (let x = 0, total = 0; x < widthPx; x++) {
      total += picture[y * widthPx + x]!;
      running[y * (widthPx + 1) + x + 1] = total;
    }
  return running;
}

/** Half the chord of a circle, averaged over a row of height 1. */
function halfChord(radius: number, dy: number): number {
  let sum = 0;
  for (let k = 0; k < 8; k++)
    sum += Math.sqrt(Math.max(0, radius * radius - (dy + (k + 0.5) / 8 - 0.5) ** 2));
  return sum / 8;
}
