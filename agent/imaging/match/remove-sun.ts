import type { FftLibrary } from "../numerics/fft-library.ts";
import type { Shape } from "../numerics/shape.ts";
import { ShiftFinder } from "../registration/shift-finder.ts";
import { coarseSigmaPx, fineSigmaPx, type SmallStructure, structureOfLog } from "./small-structure.ts";
import type { ShiftPx } from "./structure-pair.ts";

/** The train as several images show it, the Sun that wandered over it taken out. */
export interface TrainSeen {
  readonly structure: SmallStructure;
  /** The same from every second image, and from the others. */
  readonly halves: readonly SmallStructure[];
  /** What of the Sun may have stayed, at each pixel: places where much of it lay tell little of the train. */
  readonly sunLeft: Float32Array;
  /** Where the Sun lay in each image, against the first [px]. */
  readonly sunShifts: readonly ShiftPx[];
}

/** Passes over all images: a wander of a few pixels separates large structure slowly. */
const rounds = 8;
const wanderLeastPx = 2;
/** Own reasoning, no source: structure as wide as the wander stays in part. */
const leftShare = { px: 3, least: 0.1, most: 0.6 } as const;
/** A Sun that lies farther off shares too little with the others. Share of the frame's side. */
const furthestShare = 0.4;

/**
 * Tells what stays on the sensor from what wanders over it: in turns the mean of the images less the Sun where it lay,
 * and the mean of the images less the train, laid on each other by the Sun. What no wandering tells apart stays with the train.
 * Source of the alternation: J. R. Kuhn, H. Lin, D. Loranz, Publications of the ASP 103 (1991) 1097.
 * @param flat what is divided by; images are laid on each other by what they show beside it
 * @param images of one shape, the flat's; two or more
 */
export function removeSun(
  library: FftLibrary,
  flat: SmallStructure,
  images: readonly SmallStructure[],
): TrainSeen {
  const { shape } = flat;
  let sunShifts = registerSun(library, flat.log, images);
  const { train } = separate(images, sunShifts);
  // What moved with the train pulled at the first look.
  sunShifts = registerSun(library, train, images);
  const last = separate(images, sunShifts);
  const { near, sun } = last;
  const half = (odd: number) =>
    structureOfLog(
      meanLess(
        near.filter((_, k) => k % 2 === odd),
        sun,
        shape,
      ),
      shape,
    );
  return {
    structure: structureOfLog(last.train, shape),
    halves: near.length > 3 ? [half(0), half(1)] : [],
    sunLeft: sunLeftOver(near, structureOfLog(sun, shape).fine, shape),
    sunShifts,
  };
}

/** The strongest of the Sun's small structure that lay on each pixel, times the share that so much wandering leaves. */
function sunLeftOver(near: readonly Laid[], fine: Float32Array, { widthPx, heightPx }: Shape): Float32Array {
  const share = Math.min(leftShare.most, Math.max(leftShare.least, leftShare.px / leastWanderPx(near)));
  const left = new Float32Array(fine.length);
  for (const { x, y } of near) {
    const [dx, dy] = [Math.round(x), Math.round(y)];
    for (let v = Math.max(0, dy); v < Math.min(heightPx, heightPx + dy); v++)
      for (let u = Math.max(0, dx); u < Math.min(widthPx, widthPx + dx); u++) {
        const there = share * Math.abs(fine[(v - dy) * widthPx + u - dx]!);
        if (there > left[v * widthPx + u]!) left[v * widthPx + u] = there;
      }
  }
  return left;
}

/** Whether the Sun wandered far enough, along every direction, to be told from the train. */
export function hasWandered(shifts: readonly ShiftPx[]): boolean {
  return leastWanderPx(shifts) > wanderLeastPx;
}

/** Standard deviation of the Sun's places along the direction in which it wandered least. */
function leastWanderPx(shifts: readonly ShiftPx[]): number {
  const mean = (value: (shift: ShiftPx) => number) =>
    shifts.reduce((sum, shift) => sum + value(shift), 0) / shifts.length;
  const [mx, my] = [mean(({ x }) => x), mean(({ y }) => y)];
  const [xx, yy] = [mean(({ x }) => (x - mx) ** 2), mean(({ y }) => (y - my) ** 2)];
  const xy = mean(({ x, y }) => (x - mx) * (y - my));
  return Math.sqrt(Math.max(0, (xx + yy) / 2 - Math.hypot((xx - yy) / 2, xy)));
}

function registerSun(library: FftLibrary, train: Float32Array, images: readonly SmallStructure[]): ShiftPx[] {
  const { shape } = images[0]!;
  using finder = new ShiftFinder(library, shape, { fineSigmaPx, coarseSigmaPx });
  const sunOf = ({ log }: SmallStructure) => finder.spectrumOf(log.map((value, i) => value - train[i]!));
  const first = sunOf(images[0]!);
  return images.map((image, k) => {
    if (k === 0) return { x: 0, y: 0 };
    const { x, y } = finder.between(first, sunOf(image));
    return { x, y };
  });
}

/** An image and where the Sun lies in it. */
interface Laid extends ShiftPx {
  readonly log: Float32Array;
}

function separate(images: readonly SmallStructure[], shifts: readonly ShiftPx[]) {
  const { shape } = images[0]!;
  const { widthPx, heightPx } = shape;
  const near: readonly Laid[] = images.flatMap(({ log }, k) => {
    const { x, y } = shifts[k]!;
    return Math.abs(x) < furthestShare * widthPx && Math.abs(y) < furthestShare * heightPx
      ? [{ log, x, y }]
      : [];
  });
  const sun = new Float32Array(widthPx * heightPx);
  const seen = new Float32Array(widthPx * heightPx);
  let train = meanLess(near, undefined, shape);
  for (let round = 0; round < rounds; round++) {
    sun.fill(0);
    seen.fill(0);
    for (const { log, x, y } of near) addShifted(sun, seen, log, train, { x, y }, shape);
    // What one image alone shows is whatever that image holds.
    for (let i = 0; i < sun.length; i++) sun[i] = seen[i]! < 1.5 ? Number.NaN : sun[i]! / seen[i]!;
    train = meanLess(near, sun, shape);
  }
  return { near, sun, train };
}

/** Mean of the images, the Sun taken out where it lay; NaN where none tells. */
function meanLess(near: readonly Laid[], sun: Float32Array | undefined, shape: Shape): Float32Array {
  const sums = new Float32Array(shape.widthPx * shape.heightPx);
  const counts = new Float32Array(sums.length);
  for (const { log, x, y } of near) addLess(sums, counts, log, sun && { picture: sun, x: -x, y: -y }, shape);
  // A place that few images light has the limb near.
  const least = Math.max(1, near.length / 2);
  for (let i = 0; i < sums.length; i++) sums[i] = counts[i]! < least ? Number.NaN : sums[i]! / counts[i]!;
  return sums;
}

/** Adds the values less a picture laid there, where both are. */
function addLess(
  sums: Float32Array,
  counts: Float32Array,
  values: Float32Array,
  less: { readonly picture: Float32Array; readonly x: number; readonly y: number } | undefined,
  { widthPx, heightPx }: Shape,
): void {
  if (!less) {
    for (let i = 0; i < sums.length; i++)
      if (!Number.isNaN(values[i]!)) {
        sums[i]! += values[i]!;
        counts[i]!++;
      }
    return;
  }
  const { picture, x, y } = less;
  const [dx, dy] = [Math.floor(x), Math.floor(y)];
  const [fx, fy] = [x - dx, y - dy];
  const [a, b, c, d] = [(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy];
  for (let v = Math.max(0, -dy); v < Math.min(heightPx, heightPx - 1 - dy); v++) {
    const [row, from] = [v * widthPx, (v + dy) * widthPx + dx];
    for (let u = Math.max(0, -dx); u < Math.min(widthPx, widthPx - 1 - dx); u++) {
      const j = from + u;
      const laid =
        a * picture[j]! + b * picture[j + 1]! + c * picture[j + widthPx]! + d * picture[j + widthPx + 1]!;
      const value = values[row + u]! - laid;
      if (Number.isNaN(value)) continue;
      sums[row + u]! += value;
      counts[row + u]!++;
    }
  }
}

/** Adds the values less the train at the places where the Sun has them. */
function addShifted(
  sums: Float32Array,
  counts: Float32Array,
  values: Float32Array,
  train: Float32Array,
  { x, y }: ShiftPx,
  { widthPx, heightPx }: Shape,
): void {
  const [dx, dy] = [Math.floor(x), Math.floor(y)];
  const [fx, fy] = [x - dx, y - dy];
  const [a, b, c, d] = [(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy];
  const at = (j: number) => values[j]! - train[j]!;
  for (let v = Math.max(0, -dy); v < Math.min(heightPx, heightPx - 1 - dy); v++) {
    const [row, from] = [v * widthPx, (v + dy) * widthPx + dx];
    for (let u = Math.max(0, -dx); u < Math.min(widthPx, widthPx - 1 - dx); u++) {
      const j = from + u;
      const value = a * at(j) + b * at(j + 1) + c * at(j + widthPx) + d * at(j + widthPx + 1);
      if (Number.isNaN(value)) continue;
      sums[row + u]! += value;
      counts[row + u]!++;
    }
  }
}
