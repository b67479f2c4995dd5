import { invertSymmetric } from "../numerics/linear-solve.ts";
import type { Shape } from "../numerics/shape.ts";
import { fineSigmaPx, type SmallStructure } from "./small-structure.ts";

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
}

const rounds = 8;
const patchPx = 500_000;
/** Of its own diameter a shadow may have moved, further than the common shift, and still be the same. */
const furthest = 0.5;

/**
 * Looks for each shadow of the first picture in the second, near the place where a common shift would put it, by least
 * squares on the small structure about it.
 * Source: B. D. Lucas and T. Kanade, Proc. 7th Int. Joint Conf. on Artificial Intelligence (1981) 674.
 */
export function shadowMoves(
  first: SmallStructure,
  second: SmallStructure,
  shadows: readonly KnownShadow[],
  common: { readonly x: number; readonly y: number },
): ShadowMove[] {
  return shadows.flatMap((shadow) => {
    const move = moveOf(first, second, shadow, common);
    return move ? [{ ...shadow, ...move }] : [];
  });
}

/** How far the small structure as a whole has moved; wherever there is no shadow it has no say. */
export function wholeMove(
  first: SmallStructure,
  second: SmallStructure,
  common: { readonly x: number; readonly y: number },
): Omit<ShadowMove, keyof KnownShadow> | undefined {
  const { widthPx, heightPx } = first.shape;
  const whole = { xPx: widthPx / 2, yPx: heightPx / 2, diameterPx: Math.hypot(widthPx, heightPx) };
  return moveOf(first, second, whole, common);
}

function moveOf(
  first: SmallStructure,
  second: SmallStructure,
  shadow: KnownShadow,
  common: { readonly x: number; readonly y: number },
): Pick<ShadowMove, "movedX" | "movedY" | "sigmaPx" | "share"> | undefined {
  const { shape } = first;
  const { patch, every } = slopesAbout(first, shadow);
  if (patch.length < 50) return undefined;
  let [x, y, share] = [common.x, common.y, 1];
  let sigmaPx = Number.POSITIVE_INFINITY;
  for (let round = 0; round < rounds; round++) {
    const normal: number[] = new Array(16).fill(0);
    const right = [0, 0, 0, 0];
    let [squares, count] = [0, 0];
    for (const { i, value, slopeX, slopeY } of patch) {
      const seen = sampled(second.fine, shape, (i % shape.widthPx) + x, Math.floor(i / shape.widthPx) + y);
      if (Number.isNaN(seen)) continue;
      // Seen is share · first, a little further on: its slope there is about that of the first.
      const row = [-share * slopeX, -share * slopeY, value, 1];
      const miss = seen - share * value;
      squares += miss * miss;
      count++;
      for (let a = 0; a < 4; a++) {
        right[a]! += row[a]! * miss;
        for (let b = 0; b < 4; b++) normal[4 * a + b]! += row[a]! * row[b]!;
      }
    }
    if (count < 50) return undefined;
    const inverse = invertSymmetric(normal, 4);
    if (!inverse) return undefined;
    const step = right.map((_, a) => right.reduce((sum, r, b) => sum + inverse[4 * a + b]! * r, 0));
    // Noise of the filtered picture is one over an area, not over a pixel.
    const areaPx = Math.max(1, (4 * Math.PI * fineSigmaPx ** 2) / every ** 2);
    sigmaPx = Math.sqrt((squares / Math.max(1, count - 4)) * areaPx * Math.max(inverse[0]!, inverse[5]!));
    const limit = Math.max(1, shadow.diameterPx / 8);
    const [dx, dy] = [within(step[0]!, limit), within(step[1]!, limit)];
    x += dx;
    y += dy;
    share = Math.max(0.05, share + step[2]!);
    if (Math.hypot(dx, dy) < 0.002 && round > 2) break;
  }
  if (Math.hypot(x - common.x, y - common.y) > furthest * shadow.diameterPx + 2) return undefined;
  return { movedX: x, movedY: y, sigmaPx, share };
}

interface PatchPx {
  readonly i: number;
  readonly value: number;
  readonly slopeX: number;
  readonly slopeY: number;
}

function slopesAbout(
  { fine, shape }: SmallStructure,
  { xPx, yPx, diameterPx }: KnownShadow,
): { readonly patch: readonly PatchPx[]; readonly every: number } {
  const reach = 0.65 * diameterPx + 4;
  const { widthPx, heightPx } = shape;
  const patch: PatchPx[] = [];
  // Of a large patch every second or third pixel tells as much: the structure is smooth over that.
  const every = Math.max(1, Math.ceil(Math.sqrt((4 * reach * reach) / patchPx)));
  for (let v = Math.max(1, Math.ceil(yPx - reach)); v <= Math.min(heightPx - 2, yPx + reach); v += every)
    for (let u = Math.max(1, Math.ceil(xPx - reach)); u <= Math.min(widthPx - 2, xPx + reach); u += every) {
      if (Math.hypot(u - xPx, v - yPx) > reach) continue;
      const i = v * widthPx + u;
      const one = {
        i,
        value: fine[i]!,
        slopeX: (fine[i + 1]! - fine[i - 1]!) / 2,
        slopeY: (fine[i + widthPx]! - fine[i - widthPx]!) / 2,
      };
      if (!Number.isNaN(one.value + one.slopeX + one.slopeY)) patch.push(one);
    }
  return { patch, every };
}

function sampled(picture: Float32Array, { widthPx, heightPx }: Shape, x: number, y: number): number {
  const [u, v] = [Math.floor(x), Math.floor(y)];
  if (u < 0 || v < 0 || u + 1 >= widthPx || v + 1 >= heightPx) return Number.NaN;
  const [fx, fy] = [x - u, y - v];
  const at = v * widthPx + u;
  const upper = picture[at]! * (1 - fx) + picture[at + 1]! * fx;
  const lower = picture[at + widthPx]! * (1 - fx) + picture[at + widthPx + 1]! * fx;
  return upper * (1 - fy) + lower * fy;
}

function within(value: number, limit: number): number {
  return Math.min(limit, Math.max(-limit, value));
}
