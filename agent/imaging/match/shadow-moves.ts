import { invertSymmetric } from "../numerics/linear-solve.ts";
import { type ShiftPx, type StructurePair, sampleBilinear, wholeSigmaPx } from "./structure-pair.ts";

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
  const { shape, first, difference } = pair;
  const { patch, every } = patchAbout(pair, shadow, common);
  if (patch.length < 50) return undefined;
  let [x, y, share] = [common.x, common.y, 1];
  let sigmaPx = Number.POSITIVE_INFINITY;
  let inPlace = { shareInPlace: 1, shareInPlaceSigma: Number.POSITIVE_INFINITY };
  for (let round = 0; round < rounds; round++) {
    const normal: number[] = new Array(16).fill(0);
    const right = [0, 0, 0, 0];
    let [squares, count] = [0, 0];
    for (const i of patch) {
      const [u, v] = [(i % shape.widthPx) - x, Math.floor(i / shape.widthPx) - y];
      const there = sampleBilinear(first, shape, u, v);
      const slopeX = (sampleBilinear(first, shape, u + 1, v) - sampleBilinear(first, shape, u - 1, v)) / 2;
      const slopeY = (sampleBilinear(first, shape, u, v + 1) - sampleBilinear(first, shape, u, v - 1)) / 2;
      const miss = difference[i]! - (share * there - first[i]!);
      if (Number.isNaN(miss + slopeX + slopeY)) continue;
      const row = [-share * slopeX, -share * slopeY, there, 1];
      squares += miss * miss;
      count++;
      for (let a = 0; a < 4; a++) {
        right[a]! += row[a]! * miss;
        for (let b = 0; b < 4; b++) normal[4 * a + b]! += row[a]! * row[b]!;
      }
    }
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
      const was = Math.hypot(u - xPx, v - yPx) <= reach;
      const is = Math.hypot(u - xPx - common.x, v - yPx - common.y) <= reach;
      if (!was && !is) continue;
      const i = v * widthPx + u;
      if (!Number.isNaN(difference[i]! + first[i]!)) patch.push(i);
    }
  return { patch, every };
}

function within(value: number, limit: number): number {
  return Math.min(limit, Math.max(-limit, value));
}
