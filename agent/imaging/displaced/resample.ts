import type { Shape } from "../numerics/shape.ts";

/** Means of blocks of `side` x `side` pixels; at the right and lower edge of what there is of a block, then zeros. */
export function binMean(picture: Float32Array, shape: Shape, side: number, into: Shape): Float32Array {
  const binned = new Float32Array(into.widthPx * into.heightPx);
  const counts = new Float32Array(into.widthPx * into.heightPx);
  for (let y = 0; y < shape.heightPx; y++) {
    const to = Math.floor(y / side) * into.widthPx;
    for (let x = 0; x < shape.widthPx; x++) {
      const block = to + Math.floor(x / side);
      binned[block]! += picture[y * shape.widthPx + x]!;
      counts[block]!++;
    }
  }
  for (let i = 0; i < binned.length; i++) if (counts[i]! > 0) binned[i]! /= counts[i]!;
  return binned;
}

/** Adds a coarse picture, bilinearly interpolated between the centres of its blocks; beyond the outermost ones it is constant. */
export function addUpsampled(
  coarse: Float32Array,
  coarseShape: Shape,
  side: number,
  onto: Float32Array,
  shape: Shape,
): void {
  const columns = new Int32Array(shape.widthPx);
  const shares = new Float32Array(shape.widthPx);
  for (let x = 0; x < shape.widthPx; x++) {
    const place = between((x + 0.5) / side - 0.5, coarseShape.widthPx);
    columns[x] = place.index;
    shares[x] = place.share;
  }
  const mixed = new Float32Array(coarseShape.widthPx);
  for (let y = 0; y < shape.heightPx; y++) {
    const { index, share } = between((y + 0.5) / side - 0.5, coarseShape.heightPx);
    const upper = index * coarseShape.widthPx;
    const lower = upper + coarseShape.widthPx;
    for (let x = 0; x < mixed.length; x++)
      mixed[x] = (1 - share) * coarse[upper + x]! + share * coarse[lower + x]!;
    addRow(mixed, columns, shares, onto, y * shape.widthPx);
  }
}

function addRow(
  row: Float32Array,
  columns: Int32Array,
  shares: Float32Array,
  onto: Float32Array,
  start: number,
): void {
  for (let x = 0; x < columns.length; x++) {
    const left = columns[x]!;
    const share = shares[x]!;
    onto[start + x]! += row[left]! * (1 - share) + row[left + 1]! * share;
  }
}

function between(position: number, length: number): { index: number; share: number } {
  const index = Math.max(0, Math.min(length - 2, Math.floor(position)));
  return { index, share: Math.max(0, Math.min(1, position - index)) };
}
