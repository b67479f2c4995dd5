import { invertSymmetric } from "../numerics/linear-solve.ts";
import type { Shape } from "../numerics/shape.ts";
import type { LightProblem, LightSolution } from "./light-solution.ts";
import { dot, figureSigma } from "./light-solution.ts";

/** The light error in blocks of the detector, logarithm, its plane taken out: what displaced looks cannot tell. */
export interface LightMap {
  readonly sidePx: number;
  readonly columns: number;
  readonly rows: number;
  /** NaN where no two looks saw the same Sun. */
  readonly error: readonly number[];
  readonly sigma: readonly number[];
}

export interface LightAtScale {
  readonly sidePx: number;
  /** Rms over the blocks seen, as found: noise is in it. */
  readonly rms: number;
  /** Root mean square of the blocks' sigmas. */
  readonly sigma: number;
  readonly blocks: number;
}

export interface Curvature {
  /** From the centre to the middle of the right edge, and of the lower one; and from centre to corner of the mixed term. */
  readonly across: number;
  readonly down: number;
  readonly mixed: number;
  readonly acrossSigma: number;
  readonly downSigma: number;
  readonly mixedSigma: number;
}

export interface SplineMap {
  readonly map: LightMap;
  readonly scales: readonly LightAtScale[];
  readonly curvature: Curvature;
  /** Error with the plane and the three curvature terms taken out: rms and sigma. */
  readonly withoutCurvature: { readonly rms: number; readonly sigma: number };
}

/** A block counts as seen from so many rows on; a cell that two looks show is two rows. */
const rowsLeast = 8;
const samples = [1 / 4, 3 / 4] as const;

/**
 * @param pictures what each asked picture adds at a place of the detector
 * @param seenRows rows in every block, row-major
 * @returns `undefined` when too few blocks were seen
 */
export function mapLight(
  { unknowns }: LightProblem,
  solution: LightSolution,
  about: {
    readonly shape: Shape;
    readonly sidePx: number;
    readonly seenRows: ArrayLike<number>;
    readonly pictures: readonly ((x: number, y: number) => number)[];
  },
): SplineMap | undefined {
  const { shape, sidePx, seenRows, pictures } = about;
  const columns = Math.ceil(shape.widthPx / sidePx);
  const rows = Math.ceil(shape.heightPx / sidePx);
  const blocks = Array.from({ length: columns * rows }, (_, b) => b).filter((b) => seenRows[b]! >= rowsLeast);
  if (blocks.length < 8) return undefined;
  const n = unknowns.count;
  const weightsOf = (b: number) => {
    const weights = new Float64Array(n);
    for (const sy of samples)
      for (const sx of samples) {
        const { x, y } = placeInBlock(b, { columns, sidePx }, shape, sx, sy);
        const [u, v] = [unknowns.across.at(x), unknowns.down.at(y)];
        for (let s = 0; s < 16; s++)
          weights[(v.first + (s >> 2)) * unknowns.across.count + u.first + (s & 3)]! +=
            (u.share[(s & 3) as 0] * v.share[(s >> 2) as 0]) / 4;
        pictures.forEach((at, p) => {
          weights[unknowns.splines + p]! += at(x, y) / 4;
        });
      }
    return weights;
  };
  const design = blocks.map((b) => {
    const middle = placeInBlock(b, { columns, sidePx }, shape, 0.5, 0.5);
    const [x, y] = [(middle.x + 0.5) / shape.widthPx - 0.5, (middle.y + 0.5) / shape.heightPx - 0.5];
    return [1, x, y, x * x, y * y, x * y] as const;
  });
  const raw = blocks.map(weightsOf);
  const level = removeTerms(
    raw,
    design.map((terms) => terms.slice(0, 3)),
  );
  if (!level) return undefined;
  const solved = level.rest.map((weights) => solution.factors.solve(weights));
  const values = level.rest.map((weights) => dot(weights, solution.values));
  const sigmas = solved.map((one) => figureSigma(one, solution));
  const bent = removeTerms(raw, design);
  const curvatureOf = (term: number, scale: number) => {
    const weights = bent?.terms[term];
    if (!weights) return [Number.NaN, Number.POSITIVE_INFINITY] as const;
    const sigma = figureSigma(solution.factors.solve(weights), solution);
    return [scale * dot(weights, solution.values), scale * sigma] as const;
  };
  const [[across, acrossSigma], [down, downSigma], [mixed, mixedSigma]] = [
    curvatureOf(3, 1 / 4),
    curvatureOf(4, 1 / 4),
    curvatureOf(5, 1 / 4),
  ];
  const error = new Array<number>(columns * rows).fill(Number.NaN);
  const sigma = error.slice();
  blocks.forEach((b, k) => {
    error[b] = values[k]!;
    sigma[b] = sigmas[k]!;
  });
  return {
    map: { sidePx, columns, rows, error, sigma },
    scales: scalesOf(blocks, columns, sidePx, values, solved, solution),
    curvature: { across, down, mixed, acrossSigma, downSigma, mixedSigma },
    withoutCurvature: {
      rms: rms(bent ? bent.rest.map((weights) => dot(weights, solution.values)) : values),
      sigma: rms(
        (bent?.rest ?? level.rest)
          .filter((_, k) => k % 4 === 0)
          .map((weights) => figureSigma(solution.factors.solve(weights), solution)),
      ),
    },
  };
}

/** A place in a block by its shares of the width and height; blocks at the far edges end where the frame does. */
export function placeInBlock(
  block: number,
  { columns, sidePx }: Pick<LightMap, "columns" | "sidePx">,
  { widthPx, heightPx }: Shape,
  shareX: number,
  shareY: number,
): { readonly x: number; readonly y: number } {
  const [left, top] = [(block % columns) * sidePx, Math.floor(block / columns) * sidePx];
  return {
    x: left + shareX * (Math.min(widthPx, left + sidePx) - left) - 0.5,
    y: top + shareY * (Math.min(heightPx, top + sidePx) - top) - 0.5,
  };
}

/** Blocks, and squares of 2, 4, 8 … blocks a side of which at least half was seen. */
function scalesOf(
  blocks: readonly number[],
  columns: number,
  sidePx: number,
  values: readonly number[],
  solved: readonly Float64Array[],
  solution: LightSolution,
): LightAtScale[] {
  const scales: LightAtScale[] = [];
  for (let times = 1; ; times *= 2) {
    const groups = new Map<number, number[]>();
    blocks.forEach((b, k) => {
      const [x, y] = [Math.floor((b % columns) / times), Math.floor(Math.floor(b / columns) / times)];
      const key = y * columns + x;
      groups.set(key, [...(groups.get(key) ?? []), k]);
    });
    const full = [...groups.values()].filter((members) => members.length >= times ** 2 / 2);
    if (full.length < 4) return scales;
    const means = full.map((members) => members.reduce((sum, k) => sum + values[k]!, 0) / members.length);
    const sigmas = full.map((members) => {
      const mean = new Float64Array(solved[0]!.length);
      for (const k of members)
        for (let i = 0; i < mean.length; i++) mean[i]! += solved[k]![i]! / members.length;
      return figureSigma(mean, solution);
    });
    scales.push({ sidePx: times * sidePx, rms: rms(means), sigma: rms(sigmas), blocks: full.length });
  }
}

/** Every row less the least-squares fit of the terms to all rows, and the rows of the terms' coefficients. */
function removeTerms(
  rows: readonly Float64Array[],
  design: readonly (readonly number[])[],
): { readonly rest: Float64Array[]; readonly terms: Float64Array[] } | undefined {
  const count = design[0]!.length;
  const normal: number[] = new Array(count * count).fill(0);
  for (const one of design)
    for (let i = 0; i < count; i++)
      for (let j = 0; j < count; j++) normal[i * count + j]! += one[i]! * one[j]!;
  const inverse = invertSymmetric(normal, count);
  if (!inverse) return undefined;
  const n = rows[0]!.length;
  const sums = Array.from({ length: count }, () => new Float64Array(n));
  rows.forEach((row, k) => {
    for (let t = 0; t < count; t++) {
      const share = design[k]![t]!;
      for (let i = 0; i < n; i++) sums[t]![i]! += share * row[i]!;
    }
  });
  const terms = Array.from({ length: count }, (_, t) => {
    const coefficient = new Float64Array(n);
    for (let s = 0; s < count; s++)
      for (let i = 0; i < n; i++) coefficient[i]! += inverse[t * count + s]! * sums[s]![i]!;
    return coefficient;
  });
  const rest = rows.map((row, k) => {
    const left = row.slice();
    for (let t = 0; t < count; t++) for (let i = 0; i < n; i++) left[i]! -= design[k]![t]! * terms[t]![i]!;
    return left;
  });
  return { rest, terms };
}

export function rms(values: readonly number[]): number {
  return Math.sqrt(values.reduce((sum, value) => sum + value * value, 0) / Math.max(1, values.length));
}
