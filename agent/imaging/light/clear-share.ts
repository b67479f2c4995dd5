import type { DiscPx } from "../displaced/sun-model.ts";
import { splineNormal, splinesAt } from "../dust/dust-splines.ts";
import { Cholesky } from "../numerics/cholesky.ts";
import { cubicKnots } from "../numerics/cubic-knots.ts";
import { mapInto } from "../numerics/map-into.ts";
import { medianAndSigma } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";
import { sharePicture } from "./clear-picture.ts";
import { type DividedLook, divideLook } from "./divided-look.ts";

export interface ClearShareInput {
  readonly shape: Shape;
  /** Through the diffuser, above the dark, any scale; `mask` 0 where it is to be trusted. */
  readonly flat: { readonly gain: Float32Array; readonly mask: Uint8Array };
  /** The plain Sun at the same place on the frame, above the dark; NaN where a pixel is not to be used. */
  readonly plainAdu: Float32Array;
  readonly disc?: DiscPx;
}

/** Share of the even light that goes through the sheet clear, the disc's centre being 1. */
export interface ClearShare {
  readonly share: number;
  readonly sigma: number;
}

const cellPx = 4;
const knotPx = 64;
const patchPx = 32;
const rounds = 3;
const trimSigmas = 3;

/**
 * How much of a picture of the Sun a frame through a diffuser holds, limb and all: the frame's logarithm is a smooth surface
 * and that picture. Dust is trimmed.
 * @returns `undefined` when the plain frame holds no light or the field is too small
 */
export function measureClearShare({ shape, flat, plainAdu, disc }: ClearShareInput): ClearShare | undefined {
  const look = divideLook(plainAdu, flat, shape);
  if (!look) return undefined;
  const cells = flatCells(flat, look, shape);
  if (cells.x.length < 400) return undefined;
  const across = cubicKnots(shape.widthPx, knotPx);
  const down = cubicKnots(shape.heightPx, knotPx);
  const splines = splinesAt(cells.x, cells.y, across, down);
  const n = across.count * down.count;
  let result: ClearShare | undefined;
  let weight = new Float64Array(cells.x.length).fill(1);
  let share = 0;
  for (let round = 0; round < rounds; round++) {
    const picture = sharePicture({ look, shape, ...(disc ? { disc } : {}) }, share, cellPx);
    const column = mapInto(new Float64Array(cells.x.length), cells.x, (x, c) =>
      picture.column(x, cells.y[c]!),
    );
    const value = cells.logs.map((log, c) => log - picture.logAt(cells.x[c]!, cells.y[c]!));
    const normal = splineNormal(weight, splines, n);
    for (let i = 0; i < n; i++) normal[i * n + i]! += 1e-6;
    const factors = Cholesky.of(normal, n);
    if (!factors) return undefined;
    const rest = (of: Float64Array) => {
      const right = new Float64Array(n);
      eachSpline(splines, (c, i, part) => {
        right[i]! += weight[c]! * part * of[c]!;
      });
      const fit = factors.solve(right);
      const left = of.slice();
      eachSpline(splines, (c, i, part) => {
        left[c]! -= part * fit[i]!;
      });
      return left;
    };
    const [pure, left] = [rest(column), rest(value)];
    let [square, product] = [0, 0];
    for (let c = 0; c < pure.length; c++) {
      square += weight[c]! * pure[c]! ** 2;
      product += weight[c]! * pure[c]! * left[c]!;
    }
    if (!(square > 0)) return undefined;
    const change = product / square;
    const residuals = left.map((one, c) => one - change * pure[c]!);
    share += change;
    const sigma = clusteredSigma(cells, pure, residuals, weight, shape) / square;
    result = { share, sigma: Math.hypot(sigma, picture.scaleSigma * share) };
    const spread = medianAndSigma(residuals)!;
    weight = mapInto(new Float64Array(residuals.length), residuals, (one) =>
      Math.abs(one - spread.median) < trimSigmas * spread.sigma ? 1 : 0,
    );
  }
  return result;
}

function eachSpline(
  { first, stride, share }: ReturnType<typeof splinesAt>,
  visit: (cell: number, coefficient: number, share: number) => void,
): void {
  for (let c = 0; c < first.length; c++)
    for (let s = 0; s < 16; s++) visit(c, first[c]! + (s >> 2) * stride + (s & 3), share[16 * c + s]!);
}

interface FlatCells {
  readonly x: Float64Array;
  readonly y: Float64Array;
  readonly logs: Float64Array;
}

/** Logarithms of the frame's means over small cells that hold nothing but trusted pixels. */
function flatCells({ gain, mask }: ClearShareInput["flat"], look: DividedLook, shape: Shape): FlatCells {
  const { widthPx, heightPx } = shape;
  const [x, y, logs]: [number[], number[], number[]] = [[], [], []];
  for (let top = 0; top + cellPx <= heightPx; top += cellPx)
    for (let left = 0; left + cellPx <= widthPx; left += cellPx) {
      let [sum, count] = [0, 0];
      for (let row = top; row < top + cellPx; row++)
        for (let i = row * widthPx + left; i < row * widthPx + left + cellPx; i++) {
          if (mask[i] !== 0 || look.bad[i] === 1) continue;
          sum += gain[i]!;
          count++;
        }
      if (count < 0.75 * cellPx ** 2 || !(sum > 0)) continue;
      x.push(left + (cellPx - 1) / 2);
      y.push(top + (cellPx - 1) / 2);
      logs.push(Math.log(sum / count));
    }
  return { x: new Float64Array(x), y: new Float64Array(y), logs: new Float64Array(logs) };
}

/** Neighbours share dust and what the splines cannot follow. */
function clusteredSigma(
  { x, y }: FlatCells,
  pure: Float64Array,
  residuals: Float64Array,
  weight: Float64Array,
  { widthPx }: Shape,
): number {
  const columns = Math.ceil(widthPx / patchPx);
  const sums = new Map<number, number>();
  for (let c = 0; c < x.length; c++) {
    const patch = Math.floor(y[c]! / patchPx) * columns + Math.floor(x[c]! / patchPx);
    sums.set(patch, (sums.get(patch) ?? 0) + weight[c]! * pure[c]! * residuals[c]!);
  }
  return Math.sqrt([...sums.values()].reduce((sum, one) => sum + one * one, 0));
}
