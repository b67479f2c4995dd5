import { fillInto } from "../numerics/map-into.ts";
import { medianInPlace } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";

export interface Peak {
  /** Cycles per pixel. */
  readonly perPxX: number;
  readonly perPxY: number;
  /** Power over the mean power of all waves as long, taken from their median. */
  readonly significance: number;
  /** The same over the waves round about in the spectrum: what is broad is no single wave. */
  readonly overNeighbours: number;
}

/** Cycles over the frame: fewer are large scales, near the finest are neighbours in rows. */
const cyclesMin = 4;
export const cyclesFromFinest = 3;
/**
 * Waves along rows or columns are mostly the sensor's own, random from column to column, and compared with their like; a
 * Hann window spreads them over two cycles.
 */
const cyclesOffAxis = 2;

/**
 * The strongest single wave in the spectrum of a windowed picture of `shape` that was padded with zeros to `padded`.
 * Powers of noise are exponentially distributed: their mean is the median over ln 2.
 */
export function strongestPeak(spectrum: Float32Array, padded: Shape, shape: Shape): Peak | undefined {
  const columns = padded.widthPx / 2 + 1;
  const [perColumn, perRow] = [shape.widthPx / padded.widthPx, shape.heightPx / padded.heightPx];
  const power = new Float32Array(columns * padded.heightPx);
  for (let k = 0; k < power.length; k++) power[k] = spectrum[2 * k]! ** 2 + spectrum[2 * k + 1]! ** 2;
  const side = Math.max(shape.widthPx, shape.heightPx);
  const background = powerByLength(power, padded, side);
  const at = wavesOf(power, padded);
  let best = { ratio: 0, u: 0, v: 0 };
  for (let row = 0; row < padded.heightPx; row++) {
    const v = row > padded.heightPx / 2 ? row - padded.heightPx : row;
    if (Math.abs(v) * perRow > shape.heightPx / 2 - cyclesFromFinest) continue;
    for (let u = 0; u < columns - 1; u++) {
      if (u * perColumn > shape.widthPx / 2 - cyclesFromFinest) continue;
      if (Math.hypot(u * perColumn, v * perRow) < cyclesMin) continue;
      let usual = background[lengthOf(u, v, padded, side)]!;
      if (power[row * columns + u]! < best.ratio * usual) continue;
      if (Math.abs(v) * perRow <= cyclesOffAxis) usual = Math.max(usual, alongAxis(at, padded, u, v, "x"));
      if (u * perColumn <= cyclesOffAxis) usual = Math.max(usual, alongAxis(at, padded, u, v, "y"));
      const ratio = power[row * columns + u]! / usual;
      if (ratio > best.ratio) best = { ratio, u, v };
    }
  }
  if (best.ratio === 0) return undefined;
  const { u, v } = summit(at, best);
  const fine = {
    u: u + top(at(u - 1, v), at(u, v), at(u + 1, v)),
    v: v + top(at(u, v - 1), at(u, v), at(u, v + 1)),
  };
  return {
    perPxX: fine.u / padded.widthPx,
    perPxY: fine.v / padded.heightPx,
    significance: best.ratio,
    overNeighbours: at(u, v) / neighbours(at, u, v),
  };
}

type At = (u: number, v: number) => number;

/** The power of a wave; of a real picture the backward one is the same. */
function wavesOf(power: Float32Array, { widthPx, heightPx }: Shape): At {
  const columns = widthPx / 2 + 1;
  return (u, v) =>
    power[(((u < 0 ? -v : v) + heightPx) % heightPx) * columns + Math.min(columns - 1, Math.abs(u))]!;
}

/** Where the ratio is highest the power need not be: its surroundings change at the axes. */
function summit(at: At, from: { readonly u: number; readonly v: number }) {
  let here = from;
  for (let step = 0; step < 6; step++) {
    let next = here;
    for (let dv = -1; dv <= 1; dv++)
      for (let du = -1; du <= 1; du++)
        if (at(here.u + du, here.v + dv) > at(next.u, next.v)) next = { u: here.u + du, v: here.v + dv };
    if (next === here) break;
    here = next;
  }
  return here;
}

/** Length of a wave vector in quarters of a cycle over the longer side, rounded. */
function lengthOf(u: number, v: number, padded: Shape, side: number): number {
  return Math.round(4 * side * Math.hypot(u / padded.widthPx, v / padded.heightPx));
}

/** Mean power of waves within two cycles of each length. */
function powerByLength(power: Float32Array, padded: Shape, side: number): Float64Array {
  const columns = padded.widthPx / 2 + 1;
  const lengths = Math.ceil(4 * side * Math.SQRT1_2) + 2;
  const counts = new Uint32Array(lengths + 1);
  const visit = (use: (length: number, value: number) => void) => {
    for (let row = 0; row < padded.heightPx; row++) {
      const v = row > padded.heightPx / 2 ? row - padded.heightPx : row;
      for (let u = 1; u < columns; u++)
        use(Math.min(lengths - 1, lengthOf(u, v, padded, side)), power[row * columns + u]!);
    }
  };
  visit((length) => counts[length + 1]!++);
  for (let k = 1; k <= lengths; k++) counts[k]! += counts[k - 1]!;
  const sorted = new Float64Array(counts[lengths]!);
  const next = counts.slice();
  visit((length, value) => (sorted[next[length]!++] = value));
  const rangeOf = (k: number) => [counts[Math.max(0, k - 8)]!, counts[Math.min(lengths, k + 9)]!] as const;
  let most = 0;
  for (let k = 0; k < lengths; k++) most = Math.max(most, rangeOf(k)[1] - rangeOf(k)[0]);
  const scratch = new Float64Array(most);
  return fillInto(new Float64Array(lengths), (k) => {
    const [from, to] = rangeOf(k);
    scratch.set(sorted.subarray(from, to));
    return (medianInPlace(scratch.subarray(0, to - from)) ?? 0) / Math.LN2 || Number.POSITIVE_INFINITY;
  });
}

/** Mean power of the waves beside one in its own row of the spectrum, or its own column; from their median. */
function alongAxis(at: At, padded: Shape, u: number, v: number, axis: "x" | "y"): number {
  if (axis === "x") return meanOf(beside(u, padded.widthPx / 2).map((other) => at(other, v)));
  return meanOf(beside(Math.abs(v), padded.heightPx / 2).flatMap((other) => [at(u, other), at(u, -other)]));
}

/** Numbers from 3 to 20 away, within the spectrum and off its origin. */
function beside(k: number, most: number): number[] {
  const near: number[] = [];
  for (let away = 3; away <= 20; away++) {
    if (k - away > 2) near.push(k - away);
    if (k + away < most) near.push(k + away);
  }
  return near;
}

function meanOf(powers: readonly number[]): number {
  return (medianInPlace(new Float64Array(powers)) ?? 0) / Math.LN2 || Number.POSITIVE_INFINITY;
}

/** Mean power from 5 to 9 steps away, from the median. */
function neighbours(at: At, u: number, v: number): number {
  const around: number[] = [];
  for (let dv = -9; dv <= 9; dv++)
    for (let du = -9; du <= 9; du++) {
      const away = Math.hypot(du, dv);
      if (away >= 5 && away <= 9 && u + du >= 0) around.push(at(u + du, v + dv));
    }
  return meanOf(around);
}

/** Where the parabola through three logarithms is highest. */
function top(before: number, middle: number, after: number): number {
  const [a, b, c] = [Math.log(before + 1e-30), Math.log(middle + 1e-30), Math.log(after + 1e-30)];
  const curvature = a - 2 * b + c;
  return curvature < 0 ? Math.max(-0.5, Math.min(0.5, (a - c) / (2 * curvature))) : 0;
}
