import type { Flat } from "../combining/normalise-flat.ts";
import { findTrustedPx } from "../combining/trusted-px.ts";
import { BlockMap } from "../numerics/block-map.ts";
import { leastSquares } from "../numerics/linear-solve.ts";
import { median, medianAndSigma } from "../numerics/order-statistics.ts";

/** Large-scale form of a flat. Shares of the level throughout. */
export interface FlatShape {
  /** Median of the corners' 5 % boxes over that of the central 10 % box. */
  readonly cornerOverCentre: number;
  readonly cornerOverCentreSigma: number;
  /** Peak to peak of the best plane through ln F across the frame, and where it rises to (x right, y down). */
  readonly gradientPeakToPeak: number;
  readonly gradientSigma: number;
  readonly gradientDegrees: number;
  /** What of a plane is left when the middle of vignetting may lie a quarter of the half side off that of the frame. */
  readonly gradientBeyondVignetting: number;
  /** Peak to peak of each term of the best cubic through ln F, coordinates -1 … 1. */
  readonly lowOrder: Readonly<Record<LowOrderTerm, number>>;
  /** A smooth bump above that cubic: highest point of 48-px means. */
  readonly hotSpot:
    | { readonly xPx: number; readonly yPx: number; readonly excess: number; readonly sigma: number }
    | undefined;
}

export type LowOrderTerm = (typeof terms)[number]["name"];

const terms = [
  { name: "x", of: (x: number, _y: number) => x, peakToPeak: 2 },
  { name: "y", of: (_x: number, y: number) => y, peakToPeak: 2 },
  { name: "x2", of: (x: number, _y: number) => x * x, peakToPeak: 1 },
  { name: "xy", of: (x: number, y: number) => x * y, peakToPeak: 2 },
  { name: "y2", of: (_x: number, y: number) => y * y, peakToPeak: 1 },
  { name: "x3", of: (x: number, _y: number) => x ** 3, peakToPeak: 2 },
  { name: "x2y", of: (x: number, y: number) => x * x * y, peakToPeak: 2 },
  { name: "xy2", of: (x: number, y: number) => x * y * y, peakToPeak: 2 },
  { name: "y3", of: (_x: number, y: number) => y ** 3, peakToPeak: 2 },
] as const;

const sidePx = 16;
/** How far off the frame's middle that of vignetting may lie, of half the side. Common practice, no source. */
const vignettingOff = 0.25;

interface Block {
  readonly x: number;
  readonly y: number;
  readonly logGain: number;
  readonly sigma: number;
}

export function flatShape(flat: Flat): FlatShape | undefined {
  const blocks = logBlocks(flat);
  if (blocks.length < 30) return undefined;
  const sigma = blocks.reduce((sum, block) => sum + block.sigma, 0) / blocks.length;
  const plane = leastSquares(
    blocks.map(({ x, y }) => [1, x, y]),
    blocks.map(({ logGain }) => logGain),
  );
  const cubic = leastSquares(
    blocks.map(({ x, y }) => [1, ...terms.map((term) => term.of(x, y))]),
    blocks.map(({ logGain }) => logGain),
  );
  const bowl = leastSquares(
    blocks.map(({ x, y }) => [1, x, y, x * x, x * y, y * y]),
    blocks.map(({ logGain }) => logGain),
  );
  if (!plane || !cubic || !bowl) return undefined;
  const [, slopeX = 0, slopeY = 0] = plane.solution;
  const { widthPx, heightPx } = flat.shape;
  const corner = cornerOverCentre(flat);
  return {
    ...corner,
    gradientPeakToPeak: 2 * Math.hypot(slopeX, slopeY),
    gradientSigma: 2 * sigma * Math.sqrt(Math.max(plane.inverse[4]!, plane.inverse[8]!)),
    gradientDegrees: (Math.atan2(slopeY / heightPx, slopeX / widthPx) * 180) / Math.PI,
    gradientBeyondVignetting: beyondVignetting(bowl.solution),
    lowOrder: Object.fromEntries(
      terms.map((term, k) => [term.name, Math.abs(cubic.solution[k + 1]!) * term.peakToPeak]),
    ) as Record<LowOrderTerm, number>,
    hotSpot: hotSpot(flat, blocks, cubic.solution),
  };
}

/** Vignetting that is not quite in the middle has a slope there: 2 a x₀ for a bowl -a x² whose middle lies at x₀. */
function beyondVignetting([, slopeX = 0, slopeY = 0, bendX = 0, , bendY = 0]: readonly number[]): number {
  const beyond = (slope: number, bend: number) =>
    Math.max(0, Math.abs(slope) - 2 * Math.max(0, -bend) * vignettingOff);
  return 2 * Math.hypot(beyond(slopeX, bendX), beyond(slopeY, bendY));
}

/** Means of ln F over 16-px blocks that are at least half trusted, at coordinates -1 … 1. */
function logBlocks(flat: Flat): Block[] {
  const map = new BlockMap(flat.shape, sidePx);
  const usePx = findTrustedPx(flat);
  const logGain = new Float32Array(flat.gain.length);
  const variance = new Float32Array(flat.gain.length);
  for (let i = 0; i < logGain.length; i++) {
    if (usePx[i] !== 1) continue;
    logGain[i] = Math.log(flat.gain[i]!);
    variance[i] = (flat.sigma[i]! / flat.gain[i]!) ** 2;
  }
  const logs = map.sumPicture(logGain, usePx);
  const variances = map.sumPicture(variance, usePx);
  const blocks: Block[] = [];
  for (let b = 0; b < map.count; b++) {
    const count = logs.counts[b]!;
    if (count < (sidePx * sidePx) / 2) continue;
    const xPx = ((b % map.columns) + 0.5) * sidePx;
    const yPx = (Math.floor(b / map.columns) + 0.5) * sidePx;
    blocks.push({
      x: (2 * xPx) / flat.shape.widthPx - 1,
      y: (2 * yPx) / flat.shape.heightPx - 1,
      logGain: logs.sums[b]! / count,
      sigma: Math.sqrt(variances.sums[b]!) / count,
    });
  }
  return blocks;
}

function cornerOverCentre(flat: Flat): Pick<FlatShape, "cornerOverCentre" | "cornerOverCentreSigma"> {
  const { widthPx, heightPx } = flat.shape;
  const [w, h] = [Math.max(4, Math.round(widthPx * 0.05)), Math.max(4, Math.round(heightPx * 0.05))];
  const corners = [
    [0, 0],
    [widthPx - w, 0],
    [0, heightPx - h],
    [widthPx - w, heightPx - h],
  ].flatMap(([x, y]) => {
    const values = boxOf(flat, x!, y!, w, h);
    return values.length > 0 ? [medianAndSigma(values)!] : [];
  });
  const centre = medianAndSigma(
    boxOf(flat, Math.round(widthPx / 2 - w), Math.round(heightPx / 2 - h), 2 * w, 2 * h),
  );
  if (corners.length === 0 || !centre) return { cornerOverCentre: 0, cornerOverCentreSigma: 0 };
  const level = median(corners.map((corner) => corner.median))!;
  const noise = (1.25 * corners[0]!.sigma) / Math.sqrt(w * h * corners.length);
  return { cornerOverCentre: level / centre.median, cornerOverCentreSigma: noise / centre.median };
}

function boxOf(flat: Flat, x0: number, y0: number, w: number, h: number): number[] {
  const values: number[] = [];
  for (let y = y0; y < y0 + h; y++)
    for (let x = x0; x < x0 + w; x++) {
      const i = y * flat.shape.widthPx + x;
      if (flat.mask[i] === 0) values.push(flat.gain[i]!);
    }
  return values;
}

/** Highest 3 x 3 mean of blocks above the cubic. Nothing below 1 %: a cubic is never the whole truth. */
function hotSpot(flat: Flat, blocks: readonly Block[], cubic: readonly number[]): FlatShape["hotSpot"] {
  const at = new Map<string, number>();
  const key = (column: number, row: number) => `${column},${row}`;
  const place = (block: Block) => ({
    column: Math.floor((((block.x + 1) / 2) * flat.shape.widthPx) / sidePx),
    row: Math.floor((((block.y + 1) / 2) * flat.shape.heightPx) / sidePx),
  });
  for (const block of blocks) {
    const surface = terms.reduce(
      (sum, term, k) => sum + cubic[k + 1]! * term.of(block.x, block.y),
      cubic[0]!,
    );
    const { column, row } = place(block);
    at.set(key(column, row), block.logGain - surface);
  }
  let best: FlatShape["hotSpot"];
  for (const block of blocks) {
    const { column, row } = place(block);
    const around: number[] = [];
    for (let v = -1; v <= 1; v++)
      for (let u = -1; u <= 1; u++) {
        const value = at.get(key(column + u, row + v));
        if (value !== undefined) around.push(value);
      }
    if (around.length < 6) continue;
    const excess = around.reduce((a, b) => a + b) / around.length;
    if (excess > (best?.excess ?? 0.01))
      best = {
        xPx: Math.round((column + 0.5) * sidePx),
        yPx: Math.round((row + 0.5) * sidePx),
        excess,
        sigma: block.sigma / Math.sqrt(around.length),
      };
  }
  return best;
}
