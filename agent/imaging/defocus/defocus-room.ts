import { trustedLeast } from "../combining/trusted-px.ts";
import type { Shape } from "../numerics/shape.ts";
import type { PlacePx } from "./sky-surface.ts";

/** A disc and the frames it is pictured on. */
export interface DiscRoom {
  readonly shape: Shape;
  readonly discRadiusPx: number;
}

/** Light that comes from nearer to the limb than this share of the radius is not known well enough. */
const knownRadii = 0.95;
/** A disc smaller than the frame: more blur leaves too small a part of the frame lit. */
const blurOfSmallDisc = 0.33;
/** The most blur that keeps the limb's light out of the frame, or, of a disc that is too small for that, out of enough of it. */
export function blurRadiusMostPx({ shape, discRadiusPx }: DiscRoom): number {
  const cornerPx = Math.hypot(shape.widthPx, shape.heightPx) / 2;
  return Math.max(knownRadii * discRadiusPx - cornerPx, blurOfSmallDisc * discRadiusPx);
}

/** Farther than this from the disc's centre the limb shines into a blurred picture [px]. */
export function litRadiusPx({ discRadiusPx }: Pick<DiscRoom, "discRadiusPx">, blurRadiusPx: number): number {
  return knownRadii * discRadiusPx - blurRadiusPx;
}

/** Share of the frame within the lit radius of a disc whose centre lies there. */
export function litFraction(room: DiscRoom & { readonly disc: PlacePx }, blurRadiusPx: number): number {
  const { widthPx, heightPx } = room.shape;
  const radiusPx = litRadiusPx(room, blurRadiusPx);
  const [columns, rows] = [80, 60];
  let inside = 0;
  for (let j = 0; j < rows; j++)
    for (let i = 0; i < columns; i++) {
      const x = ((i + 0.5) / columns) * widthPx - 0.5 - room.disc.x;
      const y = ((j + 0.5) / rows) * heightPx - 0.5 - room.disc.y;
      if (Math.hypot(x, y) <= radiusPx) inside++;
    }
  return inside / (columns * rows);
}

/** Smallest disc radius whose blurred, evenly lit middle is enough of the frame [px]: within the frame, a circle's area. */
export function leastDiscRadiusToDefocusPx({ widthPx, heightPx }: Shape): number {
  return Math.sqrt((trustedLeast * widthPx * heightPx) / Math.PI) / (knownRadii - blurOfSmallDisc);
}
