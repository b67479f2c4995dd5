import type { DiscPx } from "../displaced/sun-model.ts";
import { mapInto } from "../numerics/map-into.ts";
import { quantile } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";
import type { DividedLook } from "./divided-look.ts";

/** The plain Sun as it stood when the flat was taken. */
export interface SunInFlat {
  readonly look: DividedLook;
  readonly shape: Shape;
  readonly disc?: DiscPx;
}

export interface SharePicture {
  /** How the flat's logarithm grows with the share. */
  column(x: number, y: number): number;
  /** Logarithm of the flat's excess at the share that the picture was made with. */
  logAt(x: number, y: number): number;
  /** How well the picture's own scale is known, as a fraction of it. */
  readonly scaleSigma: number;
}

/** The disc's middle is measured within this fraction of its radius. */
const middleFraction = 0.2;
/** The disc's middle has structure of its own; where it is out of sight the field's level stands for it, limb darkening and all. */
const scaleSigmas = { middleSeen: 0.03, middleUnseen: 0.15 } as const;

/**
 * What a sheet that lets a share of the light through clear adds to a flat: 1 + share · Sun, the Sun's disc centre being 1.
 * The look was divided by that flat, and so holds 1/(1 + share · Sun) itself.
 * @param cellPx means over so many pixels
 */
export function sharePicture({ look, shape, disc }: SunInFlat, share: number, cellPx: number): SharePicture {
  const { picture } = look;
  const { level: middle, isMiddle } = middleLevel(picture, shape, disc);
  // S = D (1 + a S) with D the divided look over its middle, whose S is 1.
  const sun = mapInto(new Float64Array(picture.length), picture, (level) => {
    const divided = level / middle / (1 + share);
    return divided / (1 - share * divided);
  });
  const column = boxMeans(sun, shape, cellPx, (s) => s / (1 + share * s));
  const logs = boxMeans(sun, shape, cellPx, (s) => Math.log(1 + share * s));
  return { column, logAt: logs, scaleSigma: isMiddle ? scaleSigmas.middleSeen : scaleSigmas.middleUnseen };
}

function middleLevel(picture: Float32Array, { widthPx, heightPx }: Shape, disc?: DiscPx) {
  const reach = disc ? middleFraction * disc.radiusPx : 0;
  const values: number[] = [];
  if (disc)
    for (let y = Math.max(0, Math.ceil(disc.y - reach)); y < Math.min(heightPx, disc.y + reach); y += 2)
      for (let x = Math.max(0, Math.ceil(disc.x - reach)); x < Math.min(widthPx, disc.x + reach); x += 2)
        values.push(picture[y * widthPx + x]!);
  const isMiddle = values.length >= 50;
  if (!isMiddle) for (let i = 0; i < picture.length; i += 7) if (picture[i]! > 0.2) values.push(picture[i]!);
  return { level: quantile(values, 0.5) ?? 1, isMiddle };
}

/** Means over squares about any place, by sums over rectangles, between whole pixels bilinear. */
function boxMeans(
  values: Float64Array,
  { widthPx, heightPx }: Shape,
  sidePx: number,
  of: (value: number) => number,
): (x: number, y: number) => number {
  const stride = widthPx + 1;
  const sums = new Float64Array(stride * (heightPx + 1));
  for (let y = 0; y < heightPx; y++) {
    let row = 0;
    for (let x = 0; x < widthPx; x++) {
      row += of(values[y * widthPx + x]!);
      sums[(y + 1) * stride + x + 1] = sums[y * stride + x + 1]! + row;
    }
  }
  const at = (edgeX: number, edgeY: number) => {
    const x = Math.max(0, Math.min(widthPx, edgeX));
    const y = Math.max(0, Math.min(heightPx, edgeY));
    const [left, top] = [Math.min(widthPx - 1, Math.floor(x)), Math.min(heightPx - 1, Math.floor(y))];
    const [fx, fy] = [x - left, y - top];
    const i = top * stride + left;
    const upper = sums[i]! * (1 - fx) + sums[i + 1]! * fx;
    const lower = sums[i + stride]! * (1 - fx) + sums[i + stride + 1]! * fx;
    return upper * (1 - fy) + lower * fy;
  };
  return (x, y) => {
    const [left, right] = [Math.max(0, x + 0.5 - sidePx / 2), Math.min(widthPx, x + 0.5 + sidePx / 2)];
    const [top, bottom] = [Math.max(0, y + 0.5 - sidePx / 2), Math.min(heightPx, y + 0.5 + sidePx / 2)];
    const area = Math.max(1e-9, (right - left) * (bottom - top));
    return (at(right, bottom) - at(left, bottom) - at(right, top) + at(left, top)) / area;
  };
}
