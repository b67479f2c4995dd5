import type { Flat } from "./normalise-flat.ts";
import { medianInPlace } from "./order-statistics.ts";

const sidePx = 8;

/**
 * ln F less its own large scales: the median over a window of about `windowPx`, taken on medians of 8-px blocks.
 * 0 where a pixel is not trusted.
 */
export function logResidual(flat: Flat, windowPx: number): Float32Array {
  const { widthPx, heightPx } = flat.shape;
  const columns = Math.ceil(widthPx / sidePx);
  const rows = Math.ceil(heightPx / sidePx);
  const blocks = blockMedians(flat, columns, rows);
  const background = windowMedians(blocks, columns, rows, Math.max(1, Math.round(windowPx / sidePx / 2)));
  const residual = new Float32Array(flat.gain.length);
  for (let y = 0; y < heightPx; y++) {
    const v = Math.min(rows - 1, Math.max(0, (y + 0.5) / sidePx - 0.5));
    const row = Math.min(rows - 2 < 0 ? 0 : rows - 2, Math.floor(v));
    const fy = rows > 1 ? v - row : 0;
    for (let x = 0; x < widthPx; x++) {
      const i = y * widthPx + x;
      if (flat.mask[i] !== 0 || !(flat.gain[i]! > 0)) continue;
      const u = Math.min(columns - 1, Math.max(0, (x + 0.5) / sidePx - 0.5));
      const column = Math.min(columns - 2 < 0 ? 0 : columns - 2, Math.floor(u));
      const fx = columns > 1 ? u - column : 0;
      const at = row * columns + column;
      const right = columns > 1 ? 1 : 0;
      const below = rows > 1 ? columns : 0;
      const upper = background[at]! * (1 - fx) + background[at + right]! * fx;
      const lower = background[at + below]! * (1 - fx) + background[at + below + right]! * fx;
      residual[i] = Math.log(flat.gain[i]!) - upper * (1 - fy) - lower * fy;
    }
  }
  return residual;
}

function blockMedians(flat: Flat, columns: number, rows: number): Float64Array {
  const { widthPx, heightPx } = flat.shape;
  const medians = new Float64Array(columns * rows).fill(Number.NaN);
  const values = new Float64Array(sidePx * sidePx);
  for (let row = 0; row < rows; row++)
    for (let column = 0; column < columns; column++) {
      let count = 0;
      for (let y = row * sidePx; y < Math.min(heightPx, (row + 1) * sidePx); y++)
        for (let x = column * sidePx; x < Math.min(widthPx, (column + 1) * sidePx); x++) {
          const i = y * widthPx + x;
          if (flat.mask[i] === 0 && flat.gain[i]! > 0) values[count++] = Math.log(flat.gain[i]!);
        }
      if (count > 0) medians[row * columns + column] = medianInPlace(values, count)!;
    }
  return medians;
}

function windowMedians(blocks: Float64Array, columns: number, rows: number, reach: number): Float64Array {
  const result = new Float64Array(blocks.length);
  const values = new Float64Array((2 * reach + 1) ** 2);
  for (let row = 0; row < rows; row++)
    for (let column = 0; column < columns; column++) {
      // Near an edge the window shrinks to stay symmetric: a lopsided one would follow the gradient.
      const across = Math.max(1, Math.min(reach, column, columns - 1 - column));
      const down = Math.max(1, Math.min(reach, row, rows - 1 - row));
      let count = 0;
      for (let v = Math.max(0, row - down); v <= Math.min(rows - 1, row + down); v++)
        for (let u = Math.max(0, column - across); u <= Math.min(columns - 1, column + across); u++) {
          const value = blocks[v * columns + u]!;
          if (!Number.isNaN(value)) values[count++] = value;
        }
      result[row * columns + column] = medianInPlace(values, count) ?? 0;
    }
  return result;
}
