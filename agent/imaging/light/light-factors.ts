import { leastSquares } from "../numerics/linear-solve.ts";
import { fillInto, mapInto } from "../numerics/map-into.ts";
import type { Shape } from "../numerics/shape.ts";
import { sharePicture } from "./clear-picture.ts";
import type { ClearShare } from "./clear-share.ts";
import type { LeftCell } from "./leftover-cells.ts";
import { type LightMap, placeInBlock, rms, type SplineMap } from "./light-map.ts";
import type { LightInput, SolvedLooks } from "./solve-looks.ts";

/** What a flat is divided by to take the light's error out of it, pixel by pixel. */
export interface LightFactors {
  /** 1 + share · Sun. */
  readonly clear?: Float32Array;
  /** Of the smooth map, without a slope. */
  readonly smooth?: Float32Array;
  /** One sigma of the factors together, relative. */
  readonly sigma: Float32Array;
}

/** Fine enough for a limb, coarse enough for the noise of one look. */
const limbPx = 3;
/** How well the Sun lies in the first look where it lay in the flat's frames. */
const placePx = 0.5;
/** A surface that leaves no more of the map than this fraction is what the map is. */
const bowlLeaves = 1 / 3;

/** @param parts of the light's error that are taken out */
export function factorsOf(
  solved: SolvedLooks,
  smooth: SplineMap,
  { shape, disc }: Pick<LightInput, "shape" | "disc">,
  parts: { readonly clear?: ClearShare; readonly smooth: boolean },
): LightFactors {
  const sigma = new Float32Array(shape.widthPx * shape.heightPx);
  const factors: { clear?: Float32Array; smooth?: Float32Array } = {};
  if (parts.clear) {
    const { share, sigma: shareSigma } = parts.clear;
    const sunInFlat = { look: solved.usedLooks[0]!, shape, ...(disc ? { disc } : {}) };
    const picture = sharePicture(sunInFlat, share, limbPx);
    const mean = meanOf(picture.column, shape);
    factors.clear = eachPx(shape, (x, y, i) => {
      const across = picture.column(x + 1, y) - picture.column(x - 1, y);
      const down = picture.column(x, y + 1) - picture.column(x, y - 1);
      const smeared = (share * placePx * Math.hypot(across, down)) / 2;
      sigma[i] = Math.hypot(shareSigma * (picture.column(x, y) - mean), smeared);
      return Math.exp(picture.logAt(x, y));
    });
  }
  if (parts.smooth) {
    const surface = smoothSurface(solved, smooth, shape);
    factors.smooth = eachPx(shape, (x, y, i) => {
      const { value, sigma: own } = surface(x, y);
      sigma[i] = Math.hypot(sigma[i]!, own);
      return Math.exp(value);
    });
  }
  return { ...factors, sigma };
}

function meanOf(at: (x: number, y: number) => number, { widthPx, heightPx }: Shape): number {
  let [sum, count] = [0, 0];
  for (let y = 2; y < heightPx; y += 5)
    for (let x = 2; x < widthPx; x += 5) {
      sum += at(x, y);
      count++;
    }
  return sum / Math.max(1, count);
}

function eachPx(
  { widthPx, heightPx }: Shape,
  valueAt: (x: number, y: number, i: number) => number,
): Float32Array {
  return fillInto(new Float32Array(widthPx * heightPx), (i) => {
    const y = Math.floor(i / widthPx);
    return valueAt(i - y * widthPx, y, i);
  });
}

/** The map's splines where looks saw the light, less their plane; beyond that, what goes on from there. */
function smoothSurface(
  { problem: { unknowns }, solution }: Pick<SolvedLooks, "problem" | "solution">,
  { map, curvature }: SplineMap,
  shape: Shape,
): (x: number, y: number) => { readonly value: number; readonly sigma: number } {
  const { across, down } = unknowns;
  const spline = (x: number, y: number) => {
    const [u, v] = [across.at(x), down.at(y)];
    let sum = 0;
    for (let j = 0; j < 4; j++) {
      const row = (v.first + j) * across.count + u.first;
      for (let i = 0; i < 4; i++) sum += v.share[j]! * u.share[i]! * solution.values[row + i]!;
    }
    return sum;
  };
  const places = seenBlocks(map).map((b) => placeInBlock(b, map, shape, 0.5, 0.5));
  const values = places.map(({ x, y }) => spline(x, y));
  const terms = places.map(({ x, y }) => termsAt(x, y, shape));
  const [plane, bowl] = [3, 6].map((count) => fitTerms(terms, values, count)) as [number[], number[]];
  const [off, rest] = [plane, bowl].map((fit) =>
    rms(values.map((value, k) => value - sumTerms(terms[k]!, fit))),
  ) as [number, number];
  const seen = seenWeights(map);
  const isBowl = rest < bowlLeaves * off;
  const continued = isBowl ? undefined : continueMap(map);
  const { acrossSigma, downSigma, mixedSigma } = curvature;
  return (x, y) => {
    const row = termsAt(x, y, shape);
    const { weight, sigma } = seen(x, y);
    const inside = weight > 0 ? spline(x, y) - sumTerms(row, plane) : 0;
    if (weight === 1) return { value: inside, sigma };
    const beyond = continued ? continued(x, y) : sumTerms(row, bowl) - sumTerms(row, plane);
    // The curvatures' sigmas are those from the middle to the sides, of half a frame each.
    const beyondSigma = continued
      ? off
      : Math.hypot(rest, 4 * row[3] * acrossSigma, 4 * row[4] * downSigma, 4 * row[5] * mixedSigma);
    return {
      value: weight * inside + (1 - weight) * beyond,
      sigma: weight * sigma + (1 - weight) * beyondSigma,
    };
  };
}

function seenBlocks({ error }: Pick<LightMap, "error">): number[] {
  return [...error.keys()].filter((b) => !Number.isNaN(error[b]!));
}

type Terms = readonly [number, number, number, number, number, number];

function termsAt(x: number, y: number, { widthPx, heightPx }: Shape): Terms {
  const [u, v] = [(x + 0.5) / widthPx - 0.5, (y + 0.5) / heightPx - 0.5];
  return [1, u, v, u * u, v * v, u * v];
}

/** Coefficients of the first `count` terms. */
function fitTerms(terms: readonly Terms[], values: readonly number[], count: number): number[] {
  const fit = leastSquares(
    terms.map((row) => row.slice(0, count)),
    values,
  );
  return [...(fit?.solution ?? [])];
}

function sumTerms(row: Terms, coefficients: readonly number[]): number {
  return coefficients.reduce((sum, one, t) => sum + one * row[t]!, 0);
}

/** Between the middles of blocks bilinear; blocks that nobody saw are as the mean of their neighbours, from the seen ones outwards. */
function continueMap(map: LightMap): (x: number, y: number) => number {
  const { columns, rows } = map;
  const values = [...map.error];
  let missing = [...values.keys()].filter((b) => Number.isNaN(values[b]!));
  while (missing.length > 0 && missing.length < values.length) {
    const found = missing.map((b) => {
      const [column, row] = [b % columns, Math.floor(b / columns)];
      const near: number[] = [];
      for (let y = Math.max(0, row - 1); y <= Math.min(rows - 1, row + 1); y++)
        for (let x = Math.max(0, column - 1); x <= Math.min(columns - 1, column + 1); x++) {
          const value = values[y * columns + x]!;
          if (!Number.isNaN(value)) near.push(value);
        }
      return near.length > 0 ? near.reduce((sum, value) => sum + value, 0) / near.length : Number.NaN;
    });
    missing.forEach((b, k) => {
      values[b] = found[k]!;
    });
    missing = missing.filter((b) => Number.isNaN(values[b]!));
  }
  return (x, y) => {
    let sum = 0;
    eachNear(map, x, y, (b, share) => {
      sum += share * values[b]!;
    });
    return sum;
  };
}

/** How much of a place was seen, and the sigma there. */
function seenWeights(map: LightMap) {
  return (x: number, y: number) => {
    let [weight, sum] = [0, 0];
    eachNear(map, x, y, (b, share) => {
      if (Number.isNaN(map.error[b]!)) return;
      weight += share;
      sum += share * map.sigma[b]!;
    });
    return weight > 1 - 1e-9 ? { weight: 1, sigma: sum } : { weight, sigma: weight > 0 ? sum / weight : 0 };
  };
}

/** The four blocks whose middles lie about a place, and how much each counts there. */
function eachNear(
  { sidePx, columns, rows }: LightMap,
  x: number,
  y: number,
  visit: (block: number, share: number) => void,
): void {
  const [u, v] = [(x + 0.5) / sidePx - 0.5, (y + 0.5) / sidePx - 0.5];
  const [left, top] = [Math.floor(u), Math.floor(v)];
  for (let j = 0; j < 2; j++)
    for (let i = 0; i < 2; i++) {
      const column = Math.min(columns - 1, Math.max(0, left + i));
      const row = Math.min(rows - 1, Math.max(0, top + j));
      visit(row * columns + column, Math.abs(1 - i - (u - left)) * Math.abs(1 - j - (v - top)));
    }
}

/** What looks that the factors do not know still show, by cells of the detector, is as unsure as it is large. */
export function widenByCells(
  sigma: Float32Array,
  { widthPx, heightPx }: Shape,
  cells: readonly LeftCell[],
  sidePx: number,
): void {
  for (const { column, row, mean, stands } of cells) {
    if (!stands) continue;
    for (let y = row * sidePx; y < Math.min(heightPx, (row + 1) * sidePx); y++)
      for (let x = column * sidePx; x < Math.min(widthPx, (column + 1) * sidePx); x++) {
        const i = y * widthPx + x;
        sigma[i] = Math.hypot(sigma[i]!, mean);
      }
  }
}

/** What all factors together divide a pixel by. */
export function factorAt({ clear, smooth }: LightFactors, i: number): number {
  return (clear?.[i] ?? 1) * (smooth?.[i] ?? 1);
}

/** What was seen through the same light, freed of the same. */
export function divideMasterByFactors<
  M extends { readonly meanAdu: Float32Array; readonly sigmaAdu: Float32Array },
>(master: M, factors: LightFactors): M {
  const divide = (values: Float32Array) =>
    mapInto(new Float32Array(values.length), values, (value, i) => value / factorAt(factors, i));
  return { ...master, meanAdu: divide(master.meanAdu), sigmaAdu: divide(master.sigmaAdu) };
}

interface FlatAsTaken {
  readonly gain: Float32Array;
  readonly sigma: Float32Array;
  readonly mask: Uint8Array;
  readonly levelAdu: number;
}

/** A flat freed of what the light wrote into it, mean 1 over its trusted pixels again. */
export function divideByFactors<F extends FlatAsTaken>(flat: F, factors: LightFactors): F {
  const { gain, mask } = flat;
  let [sum, count] = [0, 0];
  for (let i = 0; i < gain.length; i++)
    if (mask[i] === 0) {
      sum += gain[i]! / factorAt(factors, i);
      count++;
    }
  const mean = count > 0 ? sum / count : 1;
  const corrected = fillInto(new Float32Array(gain.length), (i) => gain[i]! / factorAt(factors, i) / mean);
  const sigma = fillInto(new Float32Array(gain.length), (i) =>
    Math.hypot(flat.sigma[i]! / factorAt(factors, i) / mean, corrected[i]! * factors.sigma[i]!),
  );
  return { ...flat, gain: corrected, sigma, levelAdu: flat.levelAdu * mean };
}
