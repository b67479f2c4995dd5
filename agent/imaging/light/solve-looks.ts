import type { ShiftPx } from "../displaced/object-grid.ts";
import type { DiscPx } from "../displaced/sun-model.ts";
import type { FftLibrary } from "../numerics/fft-library.ts";
import { leastSquares } from "../numerics/linear-solve.ts";
import type { Shape } from "../numerics/shape.ts";
import { cellGrid } from "./cell-means.ts";
import { type SharePicture, type SunInFlat, sharePicture } from "./clear-picture.ts";
import { cellLogs, cellsOnSun, type DividedLook, divideLook } from "./divided-look.ts";
import { rowsOfLook, unknownsOf } from "./light-equations.ts";
import { type LightProblem, type LightSolution, looksOf, solveLight } from "./light-solution.ts";
import { registerLooks } from "./register-looks.ts";

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

/** The light's equations solved, and what went into them. */
export interface SolvedLooks {
  readonly problem: LightProblem;
  readonly solution: LightSolution;
  readonly hazeGradient: number;
  readonly cellPx: number;
  readonly picturesAt: readonly ((x: number, y: number) => number)[];
  readonly clear: SharePicture | undefined;
  /** Clear share that the values were freed of before the last solution. */
  readonly share: number;
  /** Which of the looks were used, them over the flat, and where the Sun lies in them against the first. */
  readonly used: readonly number[];
  readonly usedLooks: readonly DividedLook[];
  readonly shifts: readonly ShiftPx[];
}

/** Cells of a frame of 640 × 480 px or less; larger frames have larger ones, so that the work stays the same. */
const cellPxLeast = 8;
const usualPxCount = 640 * 480;
/** Distance of knots, in cells. */
const knotCells = 6;
const looksLeast = 4;
const hazeAtFirst = 0.03;
const hazeLeast = 0.0002;

/**
 * Divides the looks by the flat, lays them on one another and solves for the light, twice with shifts that the first solution
 * mended, and with the clear share freed of what it does to the Sun's own picture.
 * @returns why that was not possible
 */
export function solveLooks(
  fft: FftLibrary,
  input: LightInput,
): SolvedLooks | { readonly notMeasured: string } {
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
  return { ...last, share, used, usedLooks, shifts };
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

type Solved = Omit<SolvedLooks, "share" | "used" | "usedLooks" | "shifts">;

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
