import type { ShiftPx } from "../displaced/object-grid.ts";
import type { DiscPx } from "../displaced/sun-model.ts";
import { quantile } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";
import type { DividedLook } from "./divided-look.ts";
import type { LightProblem, LightSolution } from "./light-solution.ts";

/** How a reflection moves when the Sun moves by one: 0 stands still, -1 goes the other way. With the Sun (1) none can be told. */
const motions = [-2, -1, -0.5, 0, 0.5, 2] as const;
export type GhostMotion = (typeof motions)[number];

export interface GhostSearch {
  /** Brightest smooth light of the sky beside the disc, over the disc's middle; where there is sky. Aureole is in it. */
  readonly sky?: number;
  /** By how much a picture that moves so explains what is left over, per cell; 1 is chance. */
  readonly scan: readonly { readonly motion: GhostMotion; readonly gain: number }[];
  /** The best of them, where it is beyond chance. Its size is not measured by the scan. */
  readonly moves?: GhostMotion;
}

/** Beyond chance; 24 series without a ghost reached 1.32. */
const gainLeast = 1.6;
/** Sky counts from here on, of the disc's radius. */
const skyFrom = 1.15;
const skyCellPx = 9;
const skyBrightest = 0.98;
/** Side of the cells of a ghost's picture, in cells of the Sun. */
const ghostCells = 3;
const rowsLeast = 4;

/** Light that moves neither with the Sun nor with the camera's pixels: a flat can't take it out. */
export function detectGhosts(
  { rows, grid }: LightProblem,
  { residuals, sun }: Pick<LightSolution, "residuals" | "sun">,
  shifts: readonly ShiftPx[],
  about: { readonly looks: readonly DividedLook[]; readonly shape: Shape; readonly disc?: DiscPx },
): GhostSearch {
  const { looks, shape, disc } = about;
  const sidePx = ghostCells * grid.sidePx;
  const weights = weightsOfCells(rows, residuals, sun.length);
  const scan = motions.map((motion) => {
    const [products, squares, counts] = [
      new Map<string, number>(),
      new Map<string, number>(),
      new Map<string, number>(),
    ];
    rows.forEach(({ cells, x, y }, look) => {
      const { x: dx, y: dy } = shifts[look]!;
      cells.forEach((cell, r) => {
        const key = `${Math.floor((x[r]! - motion * dx) / sidePx)},${Math.floor((y[r]! - motion * dy) / sidePx)}`;
        const column = Math.exp(-sun[cell]!);
        const w = weights[cell]!;
        products.set(key, (products.get(key) ?? 0) + w * column * residuals[look]![r]!);
        squares.set(key, (squares.get(key) ?? 0) + w * column * column);
        counts.set(key, (counts.get(key) ?? 0) + 1);
      });
    });
    let [gain, cells] = [0, 0];
    for (const [key, product] of products) {
      if (counts.get(key)! < rowsLeast) continue;
      gain += product ** 2 / squares.get(key)!;
      cells++;
    }
    return { motion, gain: cells > 0 ? gain / cells : 0 };
  });
  const best = scan.reduce((most, one) => (one.gain > most.gain ? one : most));
  const sky = disc && skyLight(looks, shifts, shape, disc);
  return {
    scan,
    ...(sky === undefined ? {} : { sky }),
    ...(best.gain > gainLeast ? { moves: best.motion } : {}),
  };
}

/** By the scatter of all, and each cell's own where that is larger. */
function weightsOfCells(
  rows: LightProblem["rows"],
  residuals: LightSolution["residuals"],
  cellCount: number,
): Float64Array {
  const [squares, counts] = [new Float64Array(cellCount), new Float64Array(cellCount)];
  rows.forEach(({ cells }, look) => {
    cells.forEach((cell, r) => {
      squares[cell]! += residuals[look]![r]! ** 2;
      counts[cell]!++;
    });
  });
  const variances = squares.map((sum, cell) => (counts[cell]! > 1 ? sum / (counts[cell]! - 1) : 0));
  const usual = quantile(
    variances.filter((value) => value > 0),
    0.5,
  );
  return variances.map((value) => (value > 0 ? 1 / Math.max(value, usual ?? value) : 0));
}

/** The brightest fiftieth of smoothed sky, the middle of all looks that have some. */
function skyLight(
  looks: readonly DividedLook[],
  shifts: readonly ShiftPx[],
  { widthPx, heightPx }: Shape,
  disc: DiscPx,
): number | undefined {
  const found = looks.flatMap(({ picture, bad }, k) => {
    const centre = { x: disc.x + shifts[k]!.x, y: disc.y + shifts[k]!.y };
    const [sky, middle]: [number[], number[]] = [[], []];
    for (let top = 0; top + skyCellPx <= heightPx; top += skyCellPx)
      for (let left = 0; left + skyCellPx <= widthPx; left += skyCellPx) {
        const half = (skyCellPx - 1) / 2;
        const radii = Math.hypot(left + half - centre.x, top + half - centre.y) / disc.radiusPx;
        if (radii < skyFrom && radii > 0.3) continue;
        let [sum, count] = [0, 0];
        for (let y = top; y < top + skyCellPx; y++)
          for (let i = y * widthPx + left; i < y * widthPx + left + skyCellPx; i++)
            if (bad[i] === 0) {
              sum += picture[i]!;
              count++;
            }
        if (count > 0) (radii >= skyFrom ? sky : middle).push(sum / count);
      }
    const bright = quantile(sky, skyBrightest);
    const level = quantile(middle, 0.5);
    return sky.length >= 50 && bright !== undefined && level ? [bright / level] : [];
  });
  return found.length > 0 ? quantile(found, 0.5) : undefined;
}
