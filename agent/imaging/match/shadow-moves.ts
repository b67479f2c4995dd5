import { invertSymmetric } from "../numerics/linear-solve.ts";
import { type ShiftPx, type StructurePair, wholeSigmaPx } from "./structure-pair.ts";

/** Where a shadow is and how large: what the dust list of a flat tells. */
export interface KnownShadow {
  readonly xPx: number;
  readonly yPx: number;
  readonly diameterPx: number;
  readonly distanceMm?: number;
}

/** How far one shadow has moved. */
export interface ShadowMove extends KnownShadow {
  readonly movedX: number;
  readonly movedY: number;
  /** One sigma of either. */
  readonly sigmaPx: number;
  /** How deep it is in the second picture, over the first: 1 the same, 0 gone. */
  readonly share: number;
  /** The same where the common shift puts it. */
  readonly shareInPlace: number;
  readonly shareInPlaceSigma: number;
}

type Move = Omit<ShadowMove, keyof KnownShadow>;

const rounds = 12;
/** More tell no more: the structure is smooth over 3 px. */
const patchPx = 250_000;
/** Of its own diameter a shadow may have moved, further than the common shift, and still be the same. */
const furthest = 0.5;

/**
 * Looks for each shadow of the first picture in the second, near the place where a common shift would put it, by least
 * squares on the small structure about it. One that is nowhere near has share 0.
 * Source: B. D. Lucas and T. Kanade, Proc. 7th Int. Joint Conf. on Artificial Intelligence (1981) 674.
 */
export function shadowMoves(
  pair: StructurePair,
  shadows: readonly KnownShadow[],
  common: ShiftPx,
): ShadowMove[] {
  return shadows.flatMap((shadow) => {
    const move = moveOf(pair, shadow, common);
    return move ? [{ ...shadow, ...move }] : [];
  });
}

/** How far the small structure as a whole has moved; wherever there is no shadow it has no say. */
export function commonMove(pair: StructurePair, common: ShiftPx): Move | undefined {
  const { widthPx, heightPx } = pair.shape;
  const whole = { xPx: widthPx / 2, yPx: heightPx / 2, diameterPx: Math.hypot(widthPx, heightPx) };
  return moveOf(pair, whole, common);
}

/** @returns `undefined` where too little of the shadow is in the picture */
function moveOf(pair: StructurePair, shadow: KnownShadow, common: ShiftPx): Move | undefined {
  const { patch, every } = patchAbout(pair, shadow, common);
  if (patch.length < 50) return undefined;
  let [x, y, share] = [common.x, common.y, 1];
  let sigmaPx = Number.POSITIVE_INFINITY;
  let inPlace = { shareInPlace: 1, shareInPlaceSigma: Number.POSITIVE_INFINITY };
  for (let round = 0; round < rounds; round++) {
    const { normal, right, squares, count } = moveEquations(pair, patch, { x, y, share });
    if (count < 50) return undefined;
    // The pattern moves along with the model but not with the sensor, which draws every answer to "nothing moved": its
    // expected part is taken off. Correlation of smoothed white noise: exp(-r² / 4 σ²).
    const far = Math.exp(-(x * x + y * y) / (4 * wholeSigmaPx ** 2));
    const pull = (share * count * pair.patternVariance * far) / (2 * wholeSigmaPx ** 2);
    right[0]! += pull * x;
    right[1]! += pull * y;
    right[2]! += count * pair.patternVariance * (share - far);
    // Noise of the filtered picture is one over an area, not over a pixel.
    const areaPx = Math.max(1, (4 * Math.PI * wholeSigmaPx ** 2) / every ** 2);
    if (round === 0) inPlace = shareOf(normal, right, { squares, count, areaPx });
    const inverse = invertSymmetric(normal, 4);
    if (!inverse) return undefined;
    const step = right.map((_, a) => right.reduce((sum, r, b) => sum + inverse[4 * a + b]! * r, 0));
    const variance = (squares / Math.max(1, count - 4)) * areaPx;
    sigmaPx = Math.sqrt(variance * Math.max(inverse[0]!, inverse[5]!));
    const limit = Math.max(1, shadow.diameterPx / 8);
    const [dx, dy] = [within(step[0]!, limit), within(step[1]!, limit)];
    x += dx;
    y += dy;
    share = Math.max(0.05, share + step[2]!);
    if (Math.hypot(dx, dy) < 0.002 && round > 2) break;
  }
  const isNear = Math.hypot(x - common.x, y - common.y) <= furthest * shadow.diameterPx + 2;
  if (isNear) return { movedX: x, movedY: y, sigmaPx, share, ...inPlace };
  return { movedX: common.x, movedY: common.y, sigmaPx: Number.POSITIVE_INFINITY, share: 0, ...inPlace };
}

/**
 * Normal equations of a step in x, y, depth and level, over the pixels of a patch.
 * @returns normal 4 × 4, right 4; squares: of what is left as it stands; count of pixels that lie on the picture there
 */
function moveEquations(
  { first, difference, shape }: StructurePair,
  patch: readonly number[],
  { x, y, share }: { readonly x: number; readonly y: number; readonly share: number },
) {
  const { widthPx, heightPx } = shape;
  // All pixels of the patch lie between four others in the same way.
  const [columns, rows] = [Math.floor(-x), Math.floor(-y)];
  const [fx, fy] = [-x - columns, -y - rows];
  const [w00, w10, w01, w11] = [(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy];
  const between = (o: number) =>
    w00 * first[o]! + w10 * first[o + 1]! + w01 * first[o + widthPx]! + w11 * first[o + widthPx + 1]!;
  let [xx, xy, xs, xl, yy, ys, yl, ss, sl, count] = [0, 0, 0, 0, 0, 0, 0, 0, 0, 0];
  let [rx, ry, rs, rl, squares] = [0, 0, 0, 0, 0];
  for (const i of patch) {
    const u = (i % widthPx) + columns;
    const v = Math.floor(i / widthPx) + rows;
    if (u < 1 || v < 1 || u + 2 >= widthPx || v + 2 >= heightPx) continue;
    const o = v * widthPx + u;
    const there = between(o);
    const slopeX = (-share * (between(o + 1) - between(o - 1))) / 2;
    const slopeY = (-share * (between(o + widthPx) - between(o - widthPx))) / 2;
    const miss = difference[i]! - (share * there - first[i]!);
    if (Number.isNaN(miss + slopeX + slopeY)) continue;
    xx += slopeX * slopeX;
    xy += slopeX * slopeY;
    xs += slopeX * there;
    xl += slopeX;
    yy += slopeY * slopeY;
    ys += slopeY * there;
    yl += slopeY;
    ss += there * there;
    sl += there;
    rx += slopeX * miss;
    ry += slopeY * miss;
    rs += there * miss;
    rl += miss;
    squares += miss * miss;
    count++;
  }
  const normal = [xx, xy, xs, xl, xy, yy, ys, yl, xs, ys, ss, sl, xl, yl, sl, count];
  return { normal, right: [rx, ry, rs, rl], squares, count };
}

/** Depth and level alone, from the sums at depth 1. */
function shareOf(
  normal: readonly number[],
  right: readonly number[],
  { squares, count, areaPx }: { squares: number; count: number; areaPx: number },
): Pick<Move, "shareInPlace" | "shareInPlaceSigma"> {
  const [ss, sc, cc] = [normal[10]!, normal[11]!, normal[15]!];
  const determinant = ss * cc - sc * sc;
  if (!(determinant > 0)) return { shareInPlace: 1, shareInPlaceSigma: Number.POSITIVE_INFINITY };
  const share = (cc * right[2]! - sc * right[3]!) / determinant;
  const level = (ss * right[3]! - sc * right[2]!) / determinant;
  const left = Math.max(0, squares - share * right[2]! - level * right[3]!) / Math.max(1, count - 2);
  return { shareInPlace: 1 + share, shareInPlaceSigma: Math.sqrt((left * areaPx * cc) / determinant) };
}

/** Pixels about the places where the shadow was and where it would be now. */
function patchAbout(
  { difference, first, shape }: StructurePair,
  { xPx, yPx, diameterPx }: KnownShadow,
  common: ShiftPx,
): { readonly patch: readonly number[]; readonly every: number } {
  const reach = 0.65 * diameterPx + wholeSigmaPx + 3;
  const { widthPx, heightPx } = shape;
  const patch: number[] = [];
  // Of a large patch every second or third pixel tells as much: the structure is smooth over that.
  const every = Math.max(1, Math.ceil(Math.sqrt((4 * reach * reach) / patchPx)));
  const [left, top] = [Math.min(0, common.x) - reach, Math.min(0, common.y) - reach];
  const [right, bottom] = [Math.max(0, common.x) + reach, Math.max(0, common.y) + reach];
  for (let v = Math.max(1, Math.ceil(yPx + top)); v <= Math.min(heightPx - 2, yPx + bottom); v += every)
    for (let u = Math.max(1, Math.ceil(xPx + left)); u <= Math.min(widthPx - 2, xPx + right); u += every) {
      const was = (u - xPx) ** 2 + (v - yPx) ** 2 <= reach * reach;
      const is = (u - xPx - common.x) ** 2 + (v - yPx - common.y) ** 2 <= reach * reach;
      if (!was && !is) continue;
      const i = v * widthPx + u;
      if (!Number.isNaN(difference[i]! + first[i]!)) patch.push(i);
    }
  return { patch, every };
}

function within(value: number, limit: number): number {
  return Math.min(limit, Math.max(-limit, value));
}
