import { mapInto } from "../numerics/map-into.ts";
import { medianInPlace } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";
import type { Master } from "./finish-master.ts";
import { maskBits } from "./mask-bits.ts";

/** A flat: mean 1 over its lit, trusted pixels. */
export interface Flat {
  readonly shape: Shape;
  readonly gain: Float32Array;
  /** One sigma of `gain`. */
  readonly sigma: Float32Array;
  /** See `maskBits`. */
  readonly mask: Uint8Array;
  /** Level that became 1 [adu above the dark]. */
  readonly levelAdu: number;
}

/** A lit pixel below this share of its neighbourhood, or above its inverse, does not see what they see. */
const deadBelow = 0.5;
const neighbourhoodPx = 32;
/** Darker than this share nothing is a shadow: a pixel that sees less is dead, whatever its neighbours. */
const shadowLeast = 0.1;

/**
 * Divides a master by its mean over lit, trusted pixels.
 * Masked pixels that would blow up a division carry 1; pixels unlike their neighbourhood are masked as unhealthy.
 * @param options.deadAreMasked its mask is taken as it is
 * @param options.hasColourFilters neighbours are those of a pixel's own colour
 * @returns `undefined` when no pixel is lit
 */
export function normaliseFlat(
  master: Pick<Master, "shape" | "meanAdu" | "sigmaAdu" | "mask">,
  { deadAreMasked = false, hasColourFilters = false } = {},
): Flat | undefined {
  const mask = master.mask.slice();
  if (!deadAreMasked) markDeadPixels(master.meanAdu, mask, master.shape, hasColourFilters);
  let sum = 0;
  let count = 0;
  for (let i = 0; i < mask.length; i++) {
    if (mask[i] === 0) {
      sum += master.meanAdu[i]!;
      count++;
    }
  }
  if (count === 0 || !(sum > 0)) return undefined;
  const levelAdu = sum / count;
  const gain = new Float32Array(mask.length);
  const sigma = new Float32Array(mask.length);
  for (let i = 0; i < mask.length; i++) {
    gain[i] = master.meanAdu[i]! / levelAdu;
    sigma[i] = master.sigmaAdu[i]! / levelAdu;
    if (mask[i] !== 0 && !(gain[i]! > 0.2 && gain[i]! < 5)) gain[i] = 1;
  }
  return { shape: master.shape, gain, sigma, mask, levelAdu };
}

/** Marks lit pixels of a flat that do not see what their neighbours see, of their own colour where there are filters. */
export function markDeadPixels(
  levels: Float32Array,
  mask: Uint8Array,
  shape: Shape,
  hasColourFilters: boolean,
): void {
  for (const start of hasColourFilters ? colourStarts : [undefined]) markDead(levels, mask, shape, start);
}

/** Noise of a flat relative to its level: the median over trusted pixels. */
export function relativeNoise(flat: Pick<Flat, "gain" | "sigma" | "mask">): number | undefined {
  const every = Math.max(1, Math.floor(flat.gain.length / 100_000)) | 1;
  const values: number[] = [];
  for (let i = 0; i < flat.gain.length; i += every)
    if (flat.mask[i] === 0) values.push(flat.sigma[i]! / flat.gain[i]!);
  return medianInPlace(new Float64Array(values));
}

/** First pixels of the colours of a colour filter array, each of which has every second row and column. */
const colourStarts = [
  { x: 0, y: 0 },
  { x: 1, y: 0 },
  { x: 0, y: 1 },
  { x: 1, y: 1 },
];

/** @param colour only its pixels are looked at */
function markDead(
  meanAdu: Float32Array,
  mask: Uint8Array,
  shape: Shape,
  colour?: (typeof colourStarts)[number],
): void {
  const { widthPx, heightPx } = shape;
  const dark = new Uint8Array(mask.length);
  for (let y0 = 0; y0 < heightPx; y0 += neighbourhoodPx) {
    for (let x0 = 0; x0 < widthPx; x0 += neighbourhoodPx) {
      const inside: number[] = [];
      forEachPx(x0, y0, shape, (i, x, y) => {
        if (colour && ((x & 1) !== colour.x || (y & 1) !== colour.y)) return;
        if ((mask[i]! & ~maskBits.unlit) === 0) inside.push(i);
      });
      const usual = medianInPlace(mapInto(new Float64Array(inside.length), inside, (i) => meanAdu[i]!)) ?? 0;
      let unlit = 0;
      for (const i of inside) if (mask[i] !== 0) unlit++;
      if (unlit * 2 > inside.length) continue; // a dark corner: nothing there is dead for being dark
      for (const i of inside) {
        const level = meanAdu[i]! / usual;
        if (level < shadowLeast || level > 1 / deadBelow) mask[i]! |= maskBits.unhealthy;
        else if (level < deadBelow) dark[i] = 1;
      }
    }
  }
  const step = colour ? 2 : 1;
  for (let i = 0; i < dark.length; i++)
    if (dark[i] === 1 && !isInDarkBlock(dark, shape, i, step)) mask[i]! |= maskBits.unhealthy;
}

/** Whether three by three dark pixels lie about one or beside it: a speck's shadow, not dead pixels or a dead column. */
function isInDarkBlock(dark: Uint8Array, { widthPx, heightPx }: Shape, i: number, step: number): boolean {
  const [x, y] = [i % widthPx, Math.floor(i / widthPx)];
  const isDark = (atX: number, atY: number) =>
    atX >= 0 && atX < widthPx && atY >= 0 && atY < heightPx && dark[atY * widthPx + atX] === 1;
  const away = [-step, 0, step];
  return away.some((dy) =>
    away.some((dx) =>
      away.every((blockY) => away.every((blockX) => isDark(x + dx + blockX, y + dy + blockY))),
    ),
  );
}

function forEachPx(
  x0: number,
  y0: number,
  shape: Shape,
  visit: (i: number, x: number, y: number) => void,
): void {
  const right = Math.min(shape.widthPx, x0 + neighbourhoodPx);
  const bottom = Math.min(shape.heightPx, y0 + neighbourhoodPx);
  for (let y = y0; y < bottom; y++) for (let x = x0; x < right; x++) visit(y * shape.widthPx + x, x, y);
}
