import type { DiscPx } from "../displaced/sun-model.ts";
import { mapInto } from "../numerics/map-into.ts";
import type { Shape } from "../numerics/shape.ts";
import { type SharePicture, sharePicture } from "./clear-picture.ts";
import { type ClearShare, measureClearShare } from "./clear-share.ts";
import { divideLook } from "./divided-look.ts";

export interface SheetInput {
  readonly shape: Shape;
  /** One frame through the sheet and one without, the Sun at the same place, above the dark; NaN where not to be used. */
  readonly throughAdu: Float32Array;
  readonly plainAdu: Float32Array;
  readonly disc?: DiscPx;
  /** Of a flat that may still be used, at its worst place. */
  readonly errorMost: number;
}

/** What a sheet that lets light through clear would leave in a flat. */
export interface ClearSheet extends ClearShare {
  /** Largest error of a flat of this field, and one sigma of it. */
  readonly error: number;
  readonly errorSigma: number;
  /** Share at which a flat of this field may still be used. */
  readonly shareMost: number;
  /** The same of a field that the disc fills, where the disc tells. */
  readonly shareMostOnDisc?: number;
}

const blocksDown = 16;
/** Beyond this fraction of its radius the disc darkens fast. */
const evenRadii = 0.8;
const blocksLeast = 8;

/** @returns `undefined` when the frames do not tell */
export function judgeSheet({
  shape,
  throughAdu,
  plainAdu,
  disc,
  errorMost,
}: SheetInput): ClearSheet | undefined {
  const mask = mapInto(new Uint8Array(throughAdu.length), throughAdu, (level) => (level > 0 ? 0 : 1));
  const flat = { gain: throughAdu, mask };
  const field = { shape, ...(disc ? { disc } : {}) };
  const clear = measureClearShare({ ...field, flat, plainAdu });
  const look = clear && divideLook(plainAdu, flat, shape);
  if (!look) return undefined;
  const blockPx = Math.max(4, Math.round(shape.heightPx / blocksDown));
  const picture = sharePicture({ look, ...field }, clear.share, blockPx);
  const spread = spreadOf(picture, shape, blockPx, () => true);
  const onDisc = disc && spreadOf(picture, shape, blockPx, innerDisc(disc));
  if (spread === undefined || !(spread > 0)) return undefined;
  return {
    ...clear,
    error: Math.max(0, clear.share) * spread,
    errorSigma: clear.sigma * spread,
    shareMost: errorMost / spread,
    ...(onDisc ? { shareMostOnDisc: errorMost / onDisc } : {}),
  };
}

function innerDisc({ x, y, radiusPx }: DiscPx): (atX: number, atY: number) => boolean {
  return (atX, atY) => Math.hypot(atX - x, atY - y) < evenRadii * radiusPx;
}

/** Largest difference of a block from the mean of all that count. */
function spreadOf(
  { column }: SharePicture,
  { widthPx, heightPx }: Shape,
  blockPx: number,
  counts: (x: number, y: number) => boolean,
): number | undefined {
  const values: number[] = [];
  for (let y = (blockPx - 1) / 2; y < heightPx; y += blockPx)
    for (let x = (blockPx - 1) / 2; x < widthPx; x += blockPx) if (counts(x, y)) values.push(column(x, y));
  if (values.length < blocksLeast) return undefined;
  const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
  return values.reduce((most, value) => Math.max(most, Math.abs(value - mean)), 0);
}
