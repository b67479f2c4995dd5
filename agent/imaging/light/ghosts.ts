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
  /** Brightest patch of sky beside the disc over what is usual as far out, over the disc's middle; where there is sky. */
  readonly sky?: number;
  /**
   * By how much a picture that moves so explains what is left over, per cell, 1 being chance; and how large that makes it over
   * the field. The smooth part of one goes into the light's map and the Sun: a lower limit.
   */
  readonly scan: readonly { readonly motion: GhostMotion; readonly gain: number; readonly rms: number }[];
  /** The best of them, where it is beyond chance. */
  readonly moves?: GhostMotion;
  /** Rms over the field of one that stands still and just stays unfound. */
  readonly hidden: number;
}

/** Beyond chance: series without a reflection reach about 0.7, for the fit has taken a part of its noise along. */
const gainLeast = 1.2;
/** The fit has taken a part of its noise along. */
const gainByChance = 0.6;
/** Sky counts from here on, of the disc's radius. */
const skyFrom = 1.15;
const skyCellPx = 9;
const skyBrightest = 0.98;
/** Width of the rings about the disc that the sky is compared in, of its radius. */
const ringRadii = 0.1;
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
    const cellSums = new Map<string, GhostCell>();
    rows.forEach(({ cells, x, y }, look) => {
      const { x: dx, y: dy } = shifts[look]!;
      cells.forEach((cell, r) => {
        const key = `${Math.floor((x[r]! - motion * dx) / sidePx)},${Math.floor((y[r]! - motion * dy) / sidePx)}`;
        const column = Math.exp(-sun[cell]!);
        const w = weights[cell]!;
        const left = w * residuals[look]![r]!;
        const sum = cellSums.get(key) ?? { rows: 0, weight: 0, columns: 0, squares: 0, left: 0, product: 0 };
        sum.rows++;
        sum.weight += w;
        sum.columns += w * column;
        sum.squares += w * column * column;
        sum.left += left;
        sum.product += left * column;
        cellSums.set(key, sum);
      });
    });
    let [gain, plainGain, cells, power] = [0, 0, 0, 0];
    for (const cell of cellSums.values()) {
      if (cell.rows < rowsLeast) continue;
      gain += gainOf(cell, motion);
      power += powerOf(cell, motion);
      plainGain += cell.product ** 2 / cell.squares;
      cells++;
    }
    const mean = (sum: number) => (cells > 0 ? sum / cells : 0);
    const beyondChance = Math.max(0, mean(gain) - gainByChance);
    const rms = power > 0 ? Math.sqrt(beyondChance / mean(power)) : 0;
    const hidden = power > 0 ? Math.sqrt((gainLeast - gainByChance) / mean(power)) : 1;
    return { motion, gain: mean(gain), plainGain: mean(plainGain), rms, hidden };
  });
  const best = scan.reduce((most, one) => (one.gain > most.gain ? one : most));
  // What no map follows stands still too, and slow motions resemble it: that is the flat's, and is told as its leftover.
  const standing = scan.find(({ motion }) => motion === 0)!;
  const isGhost = best.gain > gainLeast && (best.motion === 0 || best.gain > standing.plainGain);
  const sky = disc && skyLight(looks, shifts, shape, disc);
  return {
    scan: scan.map(({ motion, gain, rms }) => ({ motion, gain, rms })),
    hidden: standing.hidden,
    ...(sky === undefined ? {} : { sky }),
    ...(isGhost ? { moves: best.motion } : {}),
  };
}

interface GhostCell {
  rows: number;
  weight: number;
  columns: number;
  squares: number;
  left: number;
  product: number;
}

/** How much a ghost of 1 adds to the gain. */
function powerOf({ weight, columns, squares }: GhostCell, motion: GhostMotion): number {
  return motion === 0 ? Math.max(0, squares - columns ** 2 / weight) : squares;
}

/** What stands still is light that the map has taken already, but for being stronger where the Sun is dark. */
function gainOf({ weight, columns, squares, left, product }: GhostCell, motion: GhostMotion): number {
  if (motion !== 0) return product ** 2 / squares;
  const square = squares - columns ** 2 / weight;
  return square > 1e-9 * squares ? (product - (left * columns) / weight) ** 2 / square : 0;
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
    const [sky, middle]: [Map<number, number[]>, number[]] = [new Map(), []];
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
        if (count === 0) continue;
        if (radii < skyFrom) middle.push(sum / count);
        else {
          const ring = Math.floor(radii / ringRadii);
          sky.set(ring, [...(sky.get(ring) ?? []), sum / count]);
        }
      }
    // The aureole is the same all round the disc.
    const excess = [...sky.values()].flatMap((ring) => {
      const usual = quantile(ring, 0.5)!;
      return ring.length >= 8 ? ring.map((value) => value - usual) : [];
    });
    const bright = quantile(excess, skyBrightest);
    const level = quantile(middle, 0.5);
    return excess.length >= 50 && bright !== undefined && level ? [bright / level] : [];
  });
  return found.length > 0 ? quantile(found, 0.5) : undefined;
}
