import type { ShiftPx } from "../displaced/object-grid.ts";
import type { FftLibrary } from "../numerics/fft-library.ts";
import { leastSquares } from "../numerics/linear-solve.ts";
import { median } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";
import type { SharePicture } from "./clear-picture.ts";
import type { ClearShare } from "./clear-share.ts";
import { detectGhosts, type GhostSearch } from "./ghosts.ts";
import { countRows, type LeftCell, stackLeftover } from "./leftover-cells.ts";
import {
  type Curvature,
  type LightAtScale,
  type LightMap,
  mapLight,
  placeInBlock,
  type SplineMap,
} from "./light-map.ts";
import { figureSigma, type LightProblem, type LightSolution, looksOf } from "./light-solution.ts";
import { type SlopeBound, slopeByLevels } from "./slope-by-levels.ts";
import { type LightInput, type SolvedLooks, solveLooks } from "./solve-looks.ts";

/** What the Sun says of a flat's light. All errors are logarithms: 0.01 is 1 % too bright in the flat. */
export interface LightMeasurement {
  readonly map: LightMap;
  readonly scales: readonly LightAtScale[];
  readonly curvature: Curvature;
  readonly withoutCurvature: { readonly rms: number; readonly sigma: number };
  /** Frames of a moving Sun do not tell a slope of the light from one of the sky. */
  readonly slope: "not measured";
  /** What the looks' levels say of it, as far as the sky was steady. */
  readonly slopeBound?: SlopeBound;
  /** Over the blocks seen, plane taken out; and the largest of |error| over its sigma. */
  readonly rms: number;
  readonly sigma: number;
  readonly worst: number;
  readonly zMost: number;
  /** Largest error of a block that is beyond chance, 0 without one, and one sigma of it. */
  readonly surely: { readonly worst: number; readonly sigma: number };
  /** Fraction of the detector that at least two looks showed on the same Sun. */
  readonly seenFraction: number;
  /** One sigma of a look's haze gradient from edge to edge, from the series itself. */
  readonly hazeGradient: number;
  /** What no smooth map follows, by cells of the detector: rms of what stands out of its noise, and how many cells. */
  readonly leftover: { readonly sidePx: number; readonly rms: number; readonly cells: number };
  /** What came through the diffuser clear, and the largest error that it makes over the blocks seen. */
  readonly clearShare?: ClearShare & { readonly worst: number };
  readonly ghosts: GhostSearch;
  readonly looks: readonly LookResult[];
}

export interface LookResult {
  readonly used: boolean;
  readonly reason?: "no light" | "not registered";
  readonly shift?: ShiftPx;
  readonly hazeX?: number;
  readonly hazeY?: number;
}

/** Side of the map's blocks, in cells. */
const blockCells = 4;
/** A block of the map is in error when it is so many sigmas out: in thousands of even flats none was. */
const errorSigmas = 5;
/**
 * The error of a flat's light from a few displaced frames of the plain Sun: the same place of the Sun on other pixels
 * must be equally bright.
 * @returns why it could not be measured
 * Source: J. R. Kuhn, H. Lin and D. Loranz, Publ. Astron. Soc. Pacific 103 (1991) 1097, for the principle.
 */
export function measureLight(
  fft: FftLibrary,
  input: LightInput,
): LightMeasurement | { readonly notMeasured: string } {
  const solved = solveLooks(fft, input);
  return "notMeasured" in solved ? solved : describeLight(input, solved);
}

/** The light's smooth error alone, in blocks. @returns `undefined` when too little of the field was seen */
export function smoothMapOf(
  { problem, solution, cellPx, picturesAt }: SolvedLooks,
  shape: Shape,
): SplineMap | undefined {
  const sidePx = blockCells * cellPx;
  const seenRows = countRows(problem.rows, shape, sidePx);
  return mapLight(problem, solution, { shape, sidePx, seenRows, pictures: picturesAt });
}

/** What no smooth map follows, by cells of the detector. */
export function leftoverOf(
  { problem, solution, cellPx }: SolvedLooks,
  shape: Shape,
): { readonly sidePx: number; readonly cells: readonly LeftCell[] } {
  const sidePx = 2 * cellPx;
  return { sidePx, cells: stackLeftover(problem.rows, solution.residuals, shape, sidePx) };
}

/** What solved looks say of the light. */
export function describeLight(
  { shape, looks, disc }: Pick<LightInput, "shape" | "looks" | "disc">,
  about: SolvedLooks,
  smooth: SplineMap | undefined = smoothMapOf(about, shape),
): LightMeasurement | { readonly notMeasured: string } {
  const { problem, solution, hazeGradient, cellPx, clear } = about;
  const { rows } = problem;
  if (!smooth) return { notMeasured: "too little of the field was seen by two looks" };
  const { map } = smooth;
  const { sidePx: leftSidePx, cells: left } = leftoverOf(about, shape);
  const ratio = map.sidePx / leftSidePx;
  const [error, sigma] = [map.error.slice(), map.sigma.slice()];
  const clearWorst = clear ? addRemoved(error, map, shape, clear.logAt) : 0;
  const standing = left.filter(({ stands }) => stands);
  for (const { column, row, mean } of standing) {
    const block = Math.floor(row / ratio) * map.columns + Math.floor(column / ratio);
    if (Number.isNaN(error[block]!)) continue;
    error[block]! += mean / ratio ** 2;
    sigma[block] = Math.hypot(sigma[block]!, mean / ratio);
  }
  const blocks = [...error.keys()].filter((b) => !Number.isNaN(error[b]!));
  const all = (of: (b: number) => number) =>
    Math.sqrt(blocks.reduce((sum, b) => sum + of(b) ** 2, 0) / blocks.length);
  const fine = countRows(rows, shape, cellPx);
  const described = looksOf(solution, rows.length);
  const slopeBound = slopeByLevels(
    described.map(({ level }, k) => level + Math.log(about.usedLooks[k]!.levelAdu)),
    about.shifts,
    shape,
  );
  return {
    map: { ...map, error, sigma },
    scales: smooth.scales,
    curvature: smooth.curvature,
    withoutCurvature: smooth.withoutCurvature,
    slope: "not measured",
    ...(slopeBound ? { slopeBound } : {}),
    rms: all((b) => error[b]!),
    sigma: all((b) => sigma[b]!),
    worst: Math.max(...blocks.map((b) => Math.abs(error[b]!))),
    surely: surelyWrong(error, map.sigma, sigma),
    zMost: Math.max(...blocks.map((b) => Math.abs(error[b]!) / sigma[b]!)),
    seenFraction: fine.reduce((sum, count) => sum + (count > 0 ? 1 : 0), 0) / fine.length,
    hazeGradient,
    leftover: {
      sidePx: leftSidePx,
      rms: Math.sqrt(standing.reduce((sum, { mean }) => sum + mean * mean, 0) / Math.max(1, left.length)),
      cells: standing.length,
    },
    ...(clear
      ? { clearShare: { ...shareOf(problem, solution, about.share, clear), worst: clearWorst } }
      : {}),
    ghosts: detectGhosts(problem, solution, about.shifts, {
      looks: about.usedLooks,
      shape,
      ...(disc ? { disc } : {}),
    }),
    looks: looks.map((_, k): LookResult => {
      const at = about.used.indexOf(k);
      if (at < 0) return { used: false, reason: "not registered" };
      const { hazeX, hazeY } = described[at]!;
      return { used: true, shift: about.shifts[at]!, hazeX, hazeY };
    }),
  };
}

/**
 * A leftover that stands is beyond chance by itself: what it adds to sigma says how unsure its size is, not whether it is there.
 * @param chance sigmas without that
 */
function surelyWrong(
  error: readonly number[],
  chance: readonly number[],
  sigma: readonly number[],
): LightMeasurement["surely"] {
  let most = -1;
  error.forEach((value, b) => {
    if (Math.abs(value) > errorSigmas * chance[b]! && !(Math.abs(value) <= Math.abs(error[most] ?? 0)))
      most = b;
  });
  return most < 0
    ? { worst: 0, sigma: median(chance.filter((one) => !Number.isNaN(one))) ?? 0 }
    : { worst: Math.abs(error[most]!), sigma: sigma[most]! };
}

function shareOf(
  { unknowns }: LightProblem,
  solution: LightSolution,
  freed: number,
  { scaleSigma }: SharePicture,
): ClearShare {
  const weights = new Float64Array(unknowns.count);
  weights[unknowns.splines] = 1;
  const sigma = figureSigma(solution.factors.solve(weights), solution);
  const share = freed + solution.values[unknowns.splines]!;
  return { share, sigma: Math.hypot(sigma, scaleSigma * share) };
}

/**
 * What was taken out of the looks' values as clear share belongs to the flat's error, less its plane over the blocks seen.
 * @returns the largest of it
 */
function addRemoved(
  error: number[],
  map: LightMap,
  shape: Shape,
  at: (x: number, y: number) => number,
): number {
  const blocks = [...error.keys()].filter((b) => !Number.isNaN(error[b]!));
  const places = blocks.map((b) => placeInBlock(b, map, shape, 0.5, 0.5));
  const values = blocks.map((b) => meanInBlock(at, b, map, shape));
  const design = places.map(({ x, y }) => [1, x / shape.widthPx - 0.5, y / shape.heightPx - 0.5]);
  const plane = leastSquares(design, values)?.solution ?? [0, 0, 0];
  let most = 0;
  blocks.forEach((b, k) => {
    const removed = values[k]! - design[k]!.reduce((sum, term, t) => sum + term * plane[t]!, 0);
    error[b]! += removed;
    most = Math.max(most, Math.abs(removed));
  });
  return most;
}

function meanInBlock(
  at: (x: number, y: number) => number,
  block: number,
  map: LightMap,
  shape: Shape,
): number {
  let sum = 0;
  for (const shareY of eighths)
    for (const shareX of eighths) {
      const { x, y } = placeInBlock(block, map, shape, shareX, shareY);
      sum += at(x, y);
    }
  return sum / eighths.length ** 2;
}

const eighths = [1 / 8, 3 / 8, 5 / 8, 7 / 8] as const;
