import type { ShadowFit } from "./dust-fit.ts";
import type { Residual } from "./dust-shadow.ts";
import { shadowRadiusPx } from "./shadow-profile.ts";

const tilePx = 16;
/** A shadow is told by cells of this share of its diameter. */
const cellShare = 1 / 14;
/** So far a radius may go from where it starts, its share. */
export const radiusSlack = 0.25;

/** Means of square cells, those of a tile one after the other, and the shadows that reach into it. */
export interface Tile {
  readonly shadows: readonly number[];
  readonly from: number;
  readonly to: number;
}

export interface Cells {
  readonly tiles: readonly Tile[];
  readonly x: number[];
  readonly y: number[];
  readonly value: number[];
  /** Pixels in it. */
  readonly weight: number[];
}

/**
 * Small cells where shadows are, large ones elsewhere.
 * @param cellPx all of this width instead
 */
export function cellsOf(
  { values, usePx, shape }: Residual,
  shadows: readonly ShadowFit[],
  cellPx?: number,
): Cells {
  const { widthPx, heightPx } = shape;
  const tiles: Tile[] = [];
  const cells: Cells = { tiles, x: [], y: [], value: [], weight: [] };
  for (let y0 = 0; y0 < heightPx; y0 += tilePx)
    for (let x0 = 0; x0 < widthPx; x0 += tilePx) {
      const [cx, cy] = [x0 + tilePx / 2, y0 + tilePx / 2];
      const reaching = [...shadows.keys()].filter((k) => {
        const fit = shadows[k]!;
        const far = Math.hypot(cx - fit.xPx, cy - fit.yPx) - tilePx * Math.SQRT1_2;
        return far < (1 + radiusSlack) * shadowRadiusPx(fit);
      });
      const side = cellPx ?? cellSidePx(reaching.map((k) => shadows[k]!));
      const from = cells.x.length;
      for (let y = y0; y < Math.min(heightPx, y0 + tilePx); y += side)
        for (let x = x0; x < Math.min(widthPx, x0 + tilePx); x += side) {
          let [sum, sumX, sumY, count] = [0, 0, 0, 0];
          for (let v = y; v < Math.min(heightPx, y + side); v++)
            for (let u = x; u < Math.min(widthPx, x + side); u++) {
              if (usePx[v * widthPx + u] !== 1) continue;
              sum += values[v * widthPx + u]!;
              sumX += u;
              sumY += v;
              count++;
            }
          if (count === 0) continue;
          cells.x.push(sumX / count);
          cells.y.push(sumY / count);
          cells.value.push(sum / count);
          cells.weight.push(count);
        }
      tiles.push({ shadows: reaching, from, to: cells.x.length });
    }
  return cells;
}

/** So small that a cell is one value to each of the shadows. */
export function cellSidePx(shadows: readonly ShadowFit[]): number {
  const finest = Math.min(tilePx, ...shadows.map(({ radiusPx }) => 2 * cellShare * radiusPx));
  return 2 ** Math.max(0, Math.floor(Math.log2(finest)));
}
