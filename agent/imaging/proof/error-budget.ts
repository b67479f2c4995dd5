import type { Flat } from "../combining/normalise-flat.ts";
import { findTrustedPx } from "../combining/trusted-px.ts";
import type { GhostSearch } from "../light/ghosts.ts";
import type { SlopeBound } from "../light/slope-by-levels.ts";
import { reckonUnseen } from "../light/whole-map.ts";
import { RunningMoments } from "../noise/running-moments.ts";
import type { Shape } from "../numerics/shape.ts";
import type { FringeSearch } from "./fringes.ts";
import type { GreyScale } from "./grey-test.ts";
import type { LeftoverSun } from "./leftover-sun.ts";
import type { ProofFigure } from "./proof-figure.ts";
import type { CurveOfFlat } from "./response-figures.ts";

export interface ScaleError {
  /** Side of the blocks that are averaged over. */
  readonly sidePx: number;
  /** Rms over such blocks, share of the level. */
  readonly rms: number;
}

/** `bounded`: none was found, and so much could have stayed hidden. */
export type BudgetState = "measured" | "bounded" | "not looked at";

export type BudgetCause = keyof typeof causes;

/** What one cause may have put wrong in a flat. */
export interface BudgetPart {
  readonly cause: BudgetCause;
  readonly name: string;
  readonly state: BudgetState;
  /** None for what nobody looked at. */
  readonly scales: readonly ScaleError[];
}

/** How wrong a flat may be, cause by cause and scale by scale. */
export interface ErrorBudget {
  readonly parts: readonly BudgetPart[];
  /** Root sum of squares of all that was measured or bounded: what nobody looked at is not in it. */
  readonly sum: readonly ScaleError[];
}

/** What the budget reads of a proof. */
export interface ProvedFacts {
  readonly figures: readonly ProofFigure[];
  readonly grey: readonly GreyScale[];
  readonly fringes: FringeSearch | undefined;
  readonly leftoverSun: LeftoverSun | undefined;
  readonly response?: CurveOfFlat | undefined;
}

/** What the plain Sun says of a flat's light, from displaced frames. */
export interface LightByScale {
  /** All that was found, by blocks of the detector; NaN where nobody saw. */
  readonly map: {
    readonly sidePx: number;
    readonly columns: number;
    readonly error: readonly number[];
  };
  /** One sigma, by sides of blocks. */
  readonly scales: readonly { readonly sidePx: number; readonly sigma: number }[];
  /** How a ghost moves, where one was seen to, and what of it was; what may have stayed hidden. */
  readonly ghosts?: Pick<GhostSearch, "moves" | "hidden"> & {
    readonly scan: readonly { readonly motion: number; readonly rms: number }[];
  };
  readonly slopeBound?: SlopeBound;
}

const causes = {
  noise: "photons and read noise",
  change: "change while it was taken",
  light: "unevenness of the light",
  slope: "slope of the light",
  linearity: "linearity of the sensor",
  leftoverSun: "the Sun's picture left in it",
  ghosts: "reflections",
  fringes: "fringes",
  dark: "stray light under it",
} as const;

const scalesPx = [1, 2, 4, 8, 16, 32, 64, 128, 256, 512] as const;
/** Structure of the Sun is looked for in a band that ends here. */
const leftoverSunMostPx = 32;
/** The longest stripes that could have stayed hidden: longer ones are smooth unevenness. */
const hiddenStripesMostPx = 64;
/** Rms of a plane over its peak to peak; of a sine over its amplitude. */
const [planeRms, sineRms] = [1 / Math.sqrt(12), Math.SQRT1_2];

type Looked = Pick<BudgetPart, "state" | "scales">;
const nobodyLooked: Looked = { state: "not looked at", scales: [] };

/** The error budget of a flat from its proof. Scales go as far as the frame has four blocks on its short side. */
export function errorBudget(
  flat: Pick<Flat, "gain" | "mask" | "shape">,
  proof: ProvedFacts,
  light?: LightByScale,
): ErrorBudget {
  const sides = sidesOf(flat.shape);
  const figure = (id: string) => proof.figures.find((one) => one.id === id);
  const everywhere = (rms: number): ScaleError[] => sides.map((sidePx) => ({ sidePx, rms }));
  const upTo = (mostPx: number, rms: number) => everywhere(rms).filter(({ sidePx }) => sidePx <= mostPx);
  const noise = figure("noise")?.value;
  const leak = figure("leak");
  // A solved or blurred flat knows how well; through a sheet only the levels of the looks tell.
  const slope = figure("planeUnsure") ?? figure("lightGradient");
  const looked: Record<BudgetCause, Looked> = {
    noise:
      noise === undefined
        ? nobodyLooked
        : { state: "measured", scales: sides.map((sidePx) => ({ sidePx, rms: noise / sidePx })) },
    change: changeOf(proof.grey, sides),
    light: light ? lightOf(light, sides) : nobodyLooked,
    slope: slope
      ? { state: "bounded", scales: everywhere(slope.value * planeRms) }
      : light?.slopeBound
        ? slopeOf(light.slopeBound, everywhere)
        : nobodyLooked,
    linearity: proof.response ? linearityOf(proof.response, everywhere) : nobodyLooked,
    leftoverSun: leftoverOf(proof, noise, upTo),
    ghosts: light?.ghosts ? ghostsOf(light.ghosts, everywhere) : nobodyLooked,
    fringes: fringesOf(proof, upTo),
    dark: leak
      ? {
          state: leak.value > 3 * (leak.sigma ?? 0) ? "measured" : "bounded",
          scales: everywhere(Math.max(leak.value, 3 * (leak.sigma ?? 0)) * inverseSpread(flat)),
        }
      : nobodyLooked,
  };
  const parts = (Object.keys(causes) as BudgetCause[]).map((cause) => {
    return { cause, name: causes[cause], ...looked[cause] };
  });
  return { parts, sum: sides.map((sidePx) => ({ sidePx, rms: rootSum(parts, sidePx) })) };
}

/** Largest of its scales; `undefined` for what nobody looked at. */
export function largestError(scales: readonly ScaleError[]): number | undefined {
  return scales.length === 0 ? undefined : Math.max(...scales.map(({ rms }) => rms));
}

function sidesOf({ widthPx, heightPx }: Shape): number[] {
  return scalesPx.filter((sidePx) => sidePx === 1 || 4 * sidePx <= Math.min(widthPx, heightPx));
}

/** Beyond noise; where none is seen, what could stay hidden. */
function changeOf(grey: ProvedFacts["grey"], sides: readonly number[]): Looked {
  const known = grey.filter(({ sidePx }) => sides.includes(sidePx));
  if (known.length === 0) return nobodyLooked;
  return {
    state: known.some(({ excess }) => excess > 0) ? "measured" : "bounded",
    scales: known.map(({ sidePx, excess, excessSigma }) => ({
      sidePx,
      rms: excess > 0 ? excess : excessSigma,
    })),
  };
}

/** Parts that nobody saw are reckoned from those that were. Below the map's own blocks a smooth error is the same as over them; its noise is in it, and it is never less than sigma. */
function lightOf({ map, scales }: LightByScale, sides: readonly number[]): Looked {
  const whole = reckonUnseen(map);
  const found = [1, 2, 4, 8, 16].flatMap((times) => {
    const sidePx = times * map.sidePx;
    const seen = rmsOfMeans(map, times);
    const rms = seen && Math.max(seen, rmsOfMeans(whole, times) ?? 0);
    const sigma = scales.find((one) => one.sidePx === sidePx)?.sigma;
    return rms === undefined || sigma === undefined ? [] : [{ sidePx, rms, sigma }];
  });
  if (found.length === 0) return nobodyLooked;
  return {
    state: found.some(({ rms, sigma }) => rms > 2 * sigma) ? "measured" : "bounded",
    scales: sides.map((sidePx) => {
      const { rms, sigma } = found.findLast((one) => one.sidePx <= sidePx) ?? found[0]!;
      return { sidePx, rms: Math.max(rms, sigma) };
    }),
  };
}

/** Over squares of so many blocks a side, as far as half of one was seen. */
function rmsOfMeans({ columns, error }: LightByScale["map"], times: number): number | undefined {
  const squares = new Map<number, RunningMoments>();
  error.forEach((value, block) => {
    if (Number.isNaN(value)) return;
    const [column, row] = [block % columns, Math.floor(block / columns)];
    const at = Math.floor(row / times) * columns + Math.floor(column / times);
    const means = squares.get(at) ?? new RunningMoments();
    means.add(value);
    squares.set(at, means);
  });
  const seen = [...squares.values()].filter(({ count }) => 2 * count >= times * times);
  if (seen.length === 0) return undefined;
  return Math.sqrt(seen.reduce((sum, { mean }) => sum + mean * mean, 0) / seen.length);
}

/** Of a reflection that was found so much is seen: its smooth part goes into the map and the Sun. */
const ghostPartSeen = 0.6;

function ghostsOf(
  { moves, scan, hidden }: NonNullable<LightByScale["ghosts"]>,
  everywhere: (rms: number) => ScaleError[],
): Looked {
  if (moves === undefined) return { state: "bounded", scales: everywhere(hidden) };
  const rms = scan.find(({ motion }) => motion === moves)?.rms ?? 0;
  return { state: "measured", scales: everywhere(rms / ghostPartSeen) };
}

/** Along the width and along the height, never less than two sigma; the sky's own slope may be all of it. */
function slopeOf(slope: SlopeBound, everywhere: (rms: number) => ScaleError[]): Looked {
  const { across, down, acrossSigma, downSigma } = slope;
  const most = (value: number, sigma: number) => Math.max(Math.abs(value), 2 * sigma);
  return {
    state: "bounded",
    scales: everywhere(planeRms * Math.hypot(most(across, acrossSigma), most(down, downSigma))),
  };
}

/** A curve's error goes with the light, which is smooth: it is the same at all scales. */
function linearityOf({ corrected, ofFlat }: CurveOfFlat, everywhere: (rms: number) => ScaleError[]): Looked {
  if (corrected) return { state: "bounded", scales: everywhere(2 * ofFlat.sigma) };
  const isFound = ofFlat.rms > 3 * ofFlat.sigma;
  return {
    state: isFound ? "measured" : "bounded",
    scales: everywhere(isFound ? ofFlat.rms : Math.max(ofFlat.rms, 2 * ofFlat.sigma)),
  };
}

function leftoverOf(
  { leftoverSun, figures }: Pick<ProvedFacts, "leftoverSun" | "figures">,
  noise: number | undefined,
  upTo: (mostPx: number, rms: number) => ScaleError[],
): Looked {
  // Of a flat by defocus: over the noise of the master, at its worst scale.
  const blurred = figures.find(({ id }) => id === "blurLeftover");
  if (blurred && noise !== undefined)
    return { state: "measured", scales: upTo(leftoverSunMostPx, blurred.value * noise) };
  if (!leftoverSun) return nobodyLooked;
  const { rms, rmsSigma } = leftoverSun;
  const isFound = rms > 3 * rmsSigma;
  return {
    state: isFound ? "measured" : "bounded",
    scales: upTo(leftoverSunMostPx, isFound ? rms : 3 * rmsSigma),
  };
}

function fringesOf(
  { fringes }: Pick<ProvedFacts, "fringes">,
  upTo: (mostPx: number, rms: number) => ScaleError[],
): Looked {
  if (!fringes) return nobodyLooked;
  const { found, limit } = fringes;
  // Over blocks of more than half a period stripes average out.
  return found
    ? { state: "measured", scales: upTo(found.periodPx / 2, sineRms * found.amplitude) }
    : { state: "bounded", scales: upTo(hiddenStripesMostPx / 2, sineRms * limit) };
}

/** What an even veil of 1 makes of a flat: it counts for more where the flat is dark. */
function inverseSpread({ gain, mask }: Pick<Flat, "gain" | "mask">): number {
  const usePx = findTrustedPx({ gain, mask });
  const moments = new RunningMoments();
  for (let i = 0; i < gain.length; i += 7) if (usePx[i] === 1) moments.add(1 / gain[i]!);
  return Math.sqrt(moments.variance);
}

function rootSum(parts: readonly BudgetPart[], sidePx: number): number {
  return Math.hypot(...parts.map(({ scales }) => scales.find((one) => one.sidePx === sidePx)?.rms ?? 0));
}
