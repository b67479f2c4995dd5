import type { ShiftPx } from "../displaced/object-grid.ts";
import type { DiscPx } from "../displaced/sun-model.ts";
import type { FftLibrary } from "../numerics/fft-library.ts";
import { leastSquares } from "../numerics/linear-solve.ts";
import { median } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";
import { cellGrid } from "./cell-means.ts";
import { type SharePicture, type SunInFlat, sharePicture } from "./clear-picture.ts";
import type { ClearShare } from "./clear-share.ts";
import { cellLogs, cellsOnSun, type DividedLook, divideLook } from "./divided-look.ts";
import { detectGhosts, type GhostSearch } from "./ghosts.ts";
import { countRows, stackLeftover } from "./leftover-cells.ts";
import { rowsOfLook, unknownsOf } from "./light-equations.ts";
import { type Curvature, type LightAtScale, type LightMap, mapLight, placeInBlock } from "./light-map.ts";
import { figureSigma, type LightProblem, type LightSolution, looksOf, solveLight } from "./light-solution.ts";
import { registerLooks } from "./register-looks.ts";
import { type SlopeBound, slopeByLevels } from "./slope-by-levels.ts";

export interface LightInput {
  readonly shape: Shape;
  /** Frames of the plain Sun from different pointings, above the dark [adu]; NaN where a pixel is not to be used. */
  readonly looks: readonly Float32Array[];
  readonly flat: { readonly gain: Float32Array; readonly mask: Uint8Array };
  /** The disc as the first look shows it, where its limb is in sight. */
  readonly disc?: DiscPx;
  /** Of the Sun against the first look, as commanded or measured. */
  readonly expectedShifts?: readonly ShiftPx[];
  /** Asks for the share of the light that a diffuser let through clear: the flat was taken where the first look was. */
  readonly asksClearShare?: boolean;
}

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

/** Cells of a frame of 640 × 480 px or less; larger frames have larger ones, so that the work stays the same. */
const cellPxLeast = 8;
const usualPxCount = 640 * 480;
/** Distance of knots and side of the map's blocks, in cells. */
const knotCells = 6;
const blockCells = 4;
const looksLeast = 4;
/** A block of the map is in error when it is so many sigmas out: in thousands of even flats none was. */
const errorSigmas = 5;
const hazeAtFirst = 0.03;
const hazeLeast = 0.0002;

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
  const { shape, looks, flat, expectedShifts } = input;
  const divided = looks.map((levels) => divideLook(levels, flat, shape));
  const lit = [...divided.keys()].filter((k) => divided[k]);
  if (divided[0] === undefined || lit.length < looksLeast)
    return {
      notMeasured: `${lit.length} of ${looks.length} frames hold light, and ${looksLeast} are needed`,
    };
  const pictures = lit.map((k) => divided[k]!);
  const found = registerLooks(fft, pictures, shape, expectedShifts && lit.map((k) => expectedShifts[k]!));
  const used = lit.filter((_, k) => found[k]);
  if (used.length < looksLeast)
    return {
      notMeasured: `only ${used.length} of ${looks.length} frames could be laid on one another: the Sun shows too little structure, or they were not taken from nearby pointings`,
    };
  let shifts = found.filter((shift) => shift !== undefined);
  const usedLooks = used.map((k) => divided[k]!);
  const sunInFlat: SunInFlat | undefined = input.asksClearShare
    ? { look: divided[0], shape, ...(input.disc ? { disc: input.disc } : {}) }
    : undefined;
  const first = solveAt({ ...input, usedLooks, shifts, share: undefined, sunInFlat: undefined });
  if (!first) return { notMeasured: "the frames overlap too little" };
  shifts = shifts.map((shift, k) => {
    const { x, y } = looksOf(first.solution, shifts.length)[k]!.shiftBy;
    return { x: shift.x + x, y: shift.y + y };
  });
  let share = 0;
  let last = solveAt({ ...input, usedLooks, shifts, share, sunInFlat });
  for (let round = 0; sunInFlat && last && round < 2; round++) {
    share += last.solution.values[last.problem.unknowns.splines]!;
    last = solveAt({ ...input, usedLooks, shifts, share, sunInFlat });
  }
  if (!last) return { notMeasured: "the frames overlap too little" };
  return describe(input, last, { share, used, usedLooks, shifts });
}

interface Attempt {
  readonly shape: Shape;
  readonly disc?: DiscPx;
  readonly usedLooks: readonly DividedLook[];
  readonly shifts: readonly ShiftPx[];
  /** Clear share that the values are freed of. */
  readonly share: number | undefined;
  readonly sunInFlat: SunInFlat | undefined;
}

interface Solved {
  readonly problem: LightProblem;
  readonly solution: LightSolution;
  readonly hazeGradient: number;
  readonly cellPx: number;
  readonly picturesAt: readonly ((x: number, y: number) => number)[];
  readonly clear: SharePicture | undefined;
}

function solveAt({ shape, disc, usedLooks, shifts, share = 0, sunInFlat }: Attempt): Solved | undefined {
  const cellPx =
    cellPxLeast * Math.max(1, Math.floor(Math.sqrt((shape.widthPx * shape.heightPx) / usualPxCount)));
  const grid = cellGrid(shape, shifts, cellPx);
  const logs = usedLooks.map((look, k) => cellLogs(look, shape, shifts[k]!, grid));
  const onSun = cellsOnSun(logs, grid, disc);
  const seen = new Uint8Array(grid.columns * grid.rows);
  for (const one of logs)
    for (let cell = 0; cell < seen.length; cell++) if (!Number.isNaN(one[cell]!)) seen[cell]!++;
  const clear = sunInFlat && sharePicture(sunInFlat, share, cellPx);
  const picturesAt = clear ? [clear.column] : [];
  const unknowns = unknownsOf(shape, knotCells * cellPx, shifts.length, picturesAt.length);
  const rows = logs.map((one, k) => {
    const made = rowsOfLook(one, onSun, seen, {
      grid,
      shift: shifts[k]!,
      shape,
      unknowns,
      pictures: picturesAt,
    });
    if (clear)
      for (let r = 0; r < made.values.length; r++) made.values[r]! += clear.logAt(made.x[r]!, made.y[r]!);
    return made;
  });
  if (rows.reduce((sum, { cells }) => sum + cells.length, 0) < 4 * unknowns.count) return undefined;
  const problem = { grid, rows, unknowns };
  const wide = solveLight(problem, { hazeGradient: hazeAtFirst });
  if (!wide) return undefined;
  const hazeGradient = hazeOfSeries(wide, shifts);
  const solution = solveLight(problem, { hazeGradient });
  return solution && { problem, solution, hazeGradient, cellPx, picturesAt, clear };
}

/**
 * How much haze gradients scatter beyond what goes with the shift: that part is the light's curvature. Both axes pooled, and
 * widened for how few they are, as the variance of Student's distribution is.
 */
function hazeOfSeries(solution: LightSolution, shifts: readonly ShiftPx[]): number {
  const looks = looksOf(solution, shifts.length);
  const design = shifts.map(({ x, y }) => [1, x / 100, y / 100]);
  const freedom = shifts.length - 3;
  if (freedom < 1) return hazeAtFirst;
  const variances = [looks.map(({ hazeX }) => hazeX), looks.map(({ hazeY }) => hazeY)].map((values) => {
    const fit = leastSquares(design, values);
    return fit ? fit.residualSd ** 2 : hazeAtFirst ** 2;
  });
  const both = 2 * freedom;
  const few = both > 2 ? both / (both - 2) : 2;
  return Math.max(hazeLeast, Math.sqrt((few * (variances[0]! + variances[1]!)) / 2));
}

function describe(
  { shape, looks, disc }: LightInput,
  { problem, solution, hazeGradient, cellPx, picturesAt, clear }: Solved,
  about: {
    readonly share: number;
    readonly used: readonly number[];
    readonly usedLooks: readonly DividedLook[];
    readonly shifts: readonly ShiftPx[];
  },
): LightMeasurement | { readonly notMeasured: string } {
  const { rows } = problem;
  const sidePx = blockCells * cellPx;
  const columns = Math.ceil(shape.widthPx / sidePx);
  const seenRows = countRows(rows, shape, sidePx);
  const smooth = mapLight(problem, solution, { shape, sidePx, seenRows, pictures: picturesAt });
  if (!smooth) return { notMeasured: "too little of the field was seen by two looks" };
  const { map } = smooth;
  const leftSidePx = 2 * cellPx;
  const left = stackLeftover(rows, solution.residuals, shape, leftSidePx);
  const ratio = sidePx / leftSidePx;
  const [error, sigma] = [map.error.slice(), map.sigma.slice()];
  const clearWorst = clear ? addRemoved(error, map, shape, clear.logAt) : 0;
  const standing = left.filter(({ stands }) => stands);
  for (const { column, row, mean } of standing) {
    const block = Math.floor(row / ratio) * columns + Math.floor(column / ratio);
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
