import type { Shape } from "../numerics/shape.ts";

/** In pixels of the frames: x right, y down. */
export interface ShiftPx {
  readonly x: number;
  readonly y: number;
}

/** The Sun's own picture, large enough for all frames: frame i shows of it what lies at x - shift. */
export interface ObjectGrid extends Shape {
  /** Place of frame coordinate (0, 0) at shift zero. */
  readonly originX: number;
  readonly originY: number;
}

/** Where a frame lies on the grid: pixel (x, y) is read between grid pixels index + y·width + x and its neighbours. */
export interface FramePlace {
  readonly index: number;
  /** 0 … 1, the share of the right and of the lower neighbour. */
  readonly rightShare: number;
  readonly lowerShare: number;
}

/** Room for shifts to be corrected by a few pixels without a new grid. */
const marginPx = 4;

export function objectGrid(shape: Shape, shifts: readonly ShiftPx[], marginAround = marginPx): ObjectGrid {
  const xs = shifts.map((shift) => shift.x);
  const ys = shifts.map((shift) => shift.y);
  const originX = Math.ceil(Math.max(...xs)) + marginAround;
  const originY = Math.ceil(Math.max(...ys)) + marginAround;
  return {
    originX,
    originY,
    widthPx: shape.widthPx + originX - Math.floor(Math.min(...xs)) + marginAround + 1,
    heightPx: shape.heightPx + originY - Math.floor(Math.min(...ys)) + marginAround + 1,
  };
}

export function framePlace(grid: ObjectGrid, shift: ShiftPx): FramePlace {
  const x = grid.originX - shift.x;
  const y = grid.originY - shift.y;
  const [column, row] = [Math.floor(x), Math.floor(y)];
  return { index: row * grid.widthPx + column, rightShare: x - column, lowerShare: y - row };
}
