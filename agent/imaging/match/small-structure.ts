import { neighbourNoise } from "../noise/neighbour-noise.ts";
import { gaussianBlur } from "../numerics/gaussian-blur.ts";
import { mapInto } from "../numerics/map-into.ts";
import { quantile } from "../numerics/order-statistics.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";
import { subtractSmoothSurface } from "./smooth-surface.ts";

/** What is compared of a picture: its small structure, and how much of that is noise. */
export interface SmallStructure {
  readonly shape: Shape;
  /** ln of the levels, less vignetting; NaN where nothing can be told. */
  readonly log: Float32Array;
  /** Gaussian σ 1.5 less σ 12 px of it; NaN likewise. */
  readonly fine: Float32Array;
  readonly rms: number;
  /** Rms that the scatter from pixel to pixel makes of `fine`. */
  readonly noiseRms: number;
  readonly pixels: number;
}

export const fineSigmaPx = 1.5;
export const coarseSigmaPx = 12;
/** Of the light at its brightest: darker is sky or a shadowed corner, and its logarithm is noise. */
const litShare = 0.3;

/**
 * Prepares a flat or an image. What lies near the border of the lit field is left out: a limb is no dust.
 * @param levels above the dark, or gains; zero, less or NaN where there is nothing
 */
export function smallStructure(levels: Float32Array, shape: Shape): SmallStructure {
  checkShape(levels, shape);
  const use = litInside(levels, shape);
  const log = levels.map((level, i) => (use[i] === 1 ? Math.log(level) : Number.NaN));
  subtractSmoothSurface(log, shape, use);
  return structureOfLog(log, shape, use);
}

/**
 * The same from the logarithm less vignetting.
 * @param log NaN where nothing can be told
 */
export function structureOfLog(
  log: Float32Array,
  shape: Shape,
  use: Uint8Array = knownInside(log, shape),
): SmallStructure {
  const fine = gaussianBlur(log, shape, fineSigmaPx, use);
  const coarse = gaussianBlur(log, shape, coarseSigmaPx, use);
  let [sum, square, pixels] = [0, 0, 0];
  for (let i = 0; i < fine.length; i++) {
    // A filter is one-sided at the frame's edges, and what it makes of vignetting there is no dust.
    const counts = use[i] === 1 && edgeDistance(i, shape) >= coarseSigmaPx;
    fine[i] = counts ? fine[i]! - coarse[i]! : Number.NaN;
    if (!counts) continue;
    sum += fine[i]!;
    square += fine[i]! ** 2;
    pixels++;
  }
  const mean = sum / Math.max(1, pixels);
  // White noise through a Gaussian of σ keeps 1 / (2 √π σ) of itself.
  const noiseRms = (neighbourNoise(log, use, shape.widthPx) ?? 0) / (2 * Math.sqrt(Math.PI) * fineSigmaPx);
  return {
    shape,
    log,
    fine,
    rms: Math.sqrt(Math.max(0, square / Math.max(1, pixels) - mean * mean)),
    noiseRms,
    pixels,
  };
}

function knownInside(log: Float32Array, shape: Shape): Uint8Array {
  const known = log.map((value) => (Number.isNaN(value) ? 0 : 1));
  return awayFromBorders(known, shape, new Uint8Array(log.length).fill(1));
}

function edgeDistance(i: number, { widthPx, heightPx }: Shape): number {
  const [x, y] = [i % widthPx, Math.floor(i / widthPx)];
  return Math.min(x, y, widthPx - 1 - x, heightPx - 1 - y);
}

/** 1 where the picture is lit, and is so all round as far as the filters reach. */
function litInside(levels: Float32Array, shape: Shape): Uint8Array {
  const every = Math.max(1, Math.floor(levels.length / 50_000)) | 1;
  const bright =
    quantile(
      levels.filter((level, i) => i % every === 0 && level > 0),
      0.95,
    ) ?? 0;
  const lit = new Float32Array(levels.length);
  const known = new Uint8Array(levels.length);
  for (let i = 0; i < lit.length; i++) {
    known[i] = Number.isNaN(levels[i]!) ? 0 : 1; // masked, however many there are, is not dark
    lit[i] = levels[i]! > litShare * bright ? 1 : 0;
  }
  return awayFromBorders(lit, shape, known);
}

/** 1 where `lit` is 1, and is so all round as far as the filters reach; what is not known counts for nothing. */
function awayFromBorders(lit: Float32Array, shape: Shape, known: Uint8Array): Uint8Array {
  let dark = 0;
  for (let i = 0; i < lit.length; i++) if (lit[i] === 0 && known[i] === 1) dark++;
  // A few dead pixels have no border.
  if (dark < lit.length / 200) return new Uint8Array(lit);
  const around = gaussianBlur(lit, shape, coarseSigmaPx, known);
  return mapInto(new Uint8Array(lit.length), lit, (one, i) => (one === 1 && around[i]! > 0.995 ? 1 : 0));
}
