import type { Master } from "../combining/finish-master.ts";
import type { Flat } from "../combining/normalise-flat.ts";
import type { PlaneAcross } from "../combining/plane-across.ts";
import type { SunSeparation } from "../combining/sun-separation.ts";
import type { RadialProfile } from "../disc/radial-profile.ts";
import type { DustFound } from "../dust/dust.ts";
import type { GrowthPoint } from "../noise/noise-growth.ts";
import type { HalvesFigures, PlaceOfChange } from "../noise/series-halves.ts";
import { fitPlane } from "../numerics/plane-fit.ts";
import { type ErrorBudget, errorBudget } from "./error-budget.ts";
import type { FlatShape } from "./flat-shape.ts";
import type { FringeSearch } from "./fringes.ts";
import { type GreyScale, greyTest } from "./grey-test.ts";
import { judgeMaster, type ProofFacts } from "./judge-master.ts";
import type { LeftoverSun } from "./leftover-sun.ts";
import { type LightProof, lightFigures } from "./light-figures.ts";
import { judgeFigure, listReasons, type ProofFigure, type Verdict, worstVerdict } from "./proof-figure.ts";
import { type CurveOfFlat, curveOfFlat, type ResponseProof, responseFigures } from "./response-figures.ts";

export interface ProofInput {
  readonly flat: Flat;
  /** The series that the flat was made from. */
  readonly series: Pick<Master, "frameCount" | "clippedFraction" | "growth" | "halves"> & {
    /** Of a flat solved from displaced frames. */
    readonly separation?: SunSeparation;
  };
  /** Upper edges of the series' frames over full scale: the median and the extremes. */
  readonly upperEdge: { readonly median: number; readonly least: number; readonly most: number };
  /** Frames of the same blur that are not in the flat, combined in the same way. */
  readonly independent: Pick<Master, "meanAdu" | "sigmaAdu" | "mask" | "frameCount">;
  /** Stray light over the flat's level, from the leak check. */
  readonly leak?: { readonly fraction: number; readonly sigmaFraction: number };
  /** Of a solved flat. */
  readonly plane?: PlaneAcross;
  /** Of a flat by defocus. */
  readonly blurred?: BlurredProof;
  /** What the plain Sun says of the light, or why it was not asked. */
  readonly light?: LightProof;
  /** The sensor's curve. */
  readonly response?: ResponseProof;
  /** The counts of flat and proof frames were straightened by it. */
  readonly responseCorrected?: boolean;
  /** Level that became 1, over full scale. */
  readonly levelMean?: number;
  /** For what the flat tells by itself. */
  readonly known: ProofFacts;
  /** Dust of this flat, where it was searched for already. */
  readonly dust?: readonly DustFound[];
}

export interface BlurredProof {
  /** Structure of the Sun at its worst scale that no model of the light explains, over the noise of the master. */
  readonly leftover: number;
  readonly leftoverSigma: number;
  /** How well the light's gradient is known, peak to peak across the frame. */
  readonly gradientUnsure: number;
  /** Sharpness after the focuser came back over that before. */
  readonly focusKept: number;
}

/** What the numbers say of a flat. */
export interface Proof {
  readonly verdict: Verdict;
  /** What keeps it from being good, each with what to do. */
  readonly reasons: readonly string[];
  readonly figures: readonly ProofFigure[];
  readonly frameCount: number;
  readonly grey: readonly GreyScale[];
  readonly greyFrames: number;
  readonly growth: readonly GrowthPoint[];
  readonly halves: HalvesFigures | undefined;
  readonly shape: FlatShape | undefined;
  readonly radial: RadialProfile;
  readonly dust: readonly DustFound[];
  readonly leftoverSun: LeftoverSun | undefined;
  readonly fringes: FringeSearch | undefined;
  readonly light: LightProof;
  /** What the sensor's curve does to images; left out where nobody knows it. */
  readonly response?: CurveOfFlat;
  /** How wrong the flat may be, cause by cause. */
  readonly budget: ErrorBudget;
}

/** Proves a flat: every figure with its uncertainty, its limits and what to do about it. */
export function proveFlat(input: ProofInput): Proof {
  const { flat, series, upperEdge, known, light = { notMeasured: "nobody looked" } } = input;
  // Out of focus the sky leans the light, which has a figure of its own.
  const grey = testGreyFrames(flat, input.independent, input.blurred ? "plane apart" : "whole");
  const grey16 = grey.find((scale) => scale.sidePx === 16);
  const told = judgeMaster(flat, known, input.dust);
  const response = curveOf(input);
  const figures: ProofFigure[] = [
    judgeFigure("upperEdge", upperEdge.median, (upperEdge.most - upperEdge.least) / 4),
    ...seriesFigures(knownOfSeries(series)),
    ...(grey16 ? [judgeFigure("grey", grey16.excess, grey16.excessSigma)] : []),
    ...(input.blurred ? blurredFigures(input.blurred) : []),
    ...(input.plane ? planeFigures(input.plane) : []),
    ...(input.leak ? [judgeFigure("leak", input.leak.fraction, input.leak.sigmaFraction)] : []),
    ...lightFigures(light),
    ...responseFigures(response),
    ...told.figures,
  ];
  return {
    verdict: worstVerdict(figures),
    reasons: listReasons(figures),
    figures,
    frameCount: series.frameCount,
    grey,
    greyFrames: input.independent.frameCount,
    growth: series.growth,
    halves: series.halves,
    shape: told.shape,
    radial: told.radial,
    dust: told.dust,
    leftoverSun: told.leftoverSun,
    fringes: told.fringes,
    light,
    ...(response ? { response } : {}),
    budget: errorBudget(
      flat,
      { figures, grey, leftoverSun: told.leftoverSun, fringes: told.fringes, response },
      "notMeasured" in light ? undefined : light,
    ),
  };
}

function curveOf({
  flat,
  response,
  responseCorrected,
  upperEdge,
  levelMean,
}: ProofInput): CurveOfFlat | undefined {
  if (!response || "notMeasured" in response || levelMean === undefined) return undefined;
  return curveOfFlat(response, flat, { edge: upperEdge.median, mean: levelMean }, responseCorrected);
}

/** How well the frames of a series agree, as far as it is known. */
export interface SeriesAgreement {
  readonly clippedFraction: number | undefined;
  /** Noise of even against odd frames over what was expected. */
  readonly evenOdd: number | undefined;
  readonly driftRms: number | undefined;
  readonly driftSigma: number | undefined;
  readonly worst: PlaceOfChange | undefined;
  readonly unseparated: number | undefined;
  readonly sunChange: number | undefined;
}

export function knownOfSeries(series: Omit<ProofInput["series"], "frameCount">): SeriesAgreement {
  const last = series.growth.at(-1);
  return {
    clippedFraction: series.clippedFraction,
    evenOdd: last && last.expected > 0 ? last.measured / last.expected : undefined,
    driftRms: series.halves?.driftRms,
    driftSigma: series.halves?.driftSigma,
    worst: series.halves?.worst,
    unseparated: series.separation?.unseparated,
    sunChange: series.separation?.sunChange,
  };
}

export function seriesFigures(known: SeriesAgreement): ProofFigure[] {
  const { clippedFraction, evenOdd, driftRms, driftSigma, worst, unseparated, sunChange } = known;
  return [
    ...(clippedFraction === undefined ? [] : [judgeFigure("clipped", clippedFraction)]),
    ...(evenOdd === undefined ? [] : [judgeFigure("evenOdd", evenOdd, 0.006)]),
    ...(driftRms === undefined ? [] : [judgeFigure("drift", driftRms, driftSigma)]),
    ...(worst === undefined ? [] : [judgeChange(worst)]),
    ...(unseparated === undefined ? [] : [judgeFigure("unseparated", unseparated)]),
    ...(sunChange === undefined ? [] : [judgeFigure("sunChange", sunChange)]),
  ];
}

function judgeChange({ change, sigma, xPx, yPx }: PlaceOfChange): ProofFigure {
  const figure = judgeFigure("moved", change, sigma);
  if (figure.verdict === "good") return figure;
  return {
    ...figure,
    whatToDo: `${figure.whatToDo} It shows at ${Math.round(xPx)}, ${Math.round(yPx)} px: dust that fell or slid, a filter or a diffuser that shifted.`,
  };
}

/** Of a solved flat's gradient. */
export function planeFigures({ unsure, disagreement }: PlaneAcross): ProofFigure[] {
  return [
    judgeFigure("planeUnsure", unsure),
    ...(disagreement ? [judgeFigure("plane", disagreement.value, disagreement.sigma)] : []),
  ];
}

function blurredFigures(blurred: BlurredProof): ProofFigure[] {
  return [
    judgeFigure("blurLeftover", blurred.leftover, blurred.leftoverSigma),
    judgeFigure("lightGradient", blurred.gradientUnsure),
    judgeFigure("focusKept", blurred.focusKept),
  ];
}

/** The independent frames divided by the flat, and whether that is grey. */
export function testGreyFrames(
  flat: Flat,
  independent: Pick<Master, "meanAdu" | "sigmaAdu" | "mask">,
  light: "whole" | "plane apart" = "whole",
): GreyScale[] {
  const { gain, sigma } = flat;
  const usePx = new Uint8Array(gain.length);
  const picture = new Float32Array(gain.length);
  const noise = new Float32Array(gain.length);
  let sum = 0;
  let count = 0;
  for (let i = 0; i < gain.length; i++) {
    if (flat.mask[i] !== 0 || independent.mask[i] !== 0 || !(gain[i]! > 0)) continue;
    usePx[i] = 1;
    picture[i] = independent.meanAdu[i]! / gain[i]!;
    sum += picture[i]!;
    count++;
  }
  const level = sum / Math.max(1, count);
  for (let i = 0; i < gain.length; i++) {
    if (usePx[i] !== 1) continue;
    picture[i]! /= level;
    noise[i] = Math.hypot(
      independent.sigmaAdu[i]! / (gain[i]! * level),
      (picture[i]! * sigma[i]!) / gain[i]!,
    );
  }
  if (light === "plane apart") takePlaneOff(picture, usePx, flat.shape);
  return greyTest(picture, noise, usePx, flat.shape);
}

/** Pixels that tell a plane well enough. */
const planePx = 40_000;

function takePlaneOff(picture: Float32Array, usePx: Uint8Array, { widthPx, heightPx }: Flat["shape"]): void {
  const at = (i: number) => ({
    x: (i % widthPx) / widthPx - 0.5,
    y: Math.floor(i / widthPx) / heightPx - 0.5,
  });
  // Odd, so that the columns change from row to row in frames of even width.
  const step = 2 * Math.ceil(picture.length / planePx / 2) + 1;
  const points: { x: number; y: number; value: number }[] = [];
  for (let i = 0; i < picture.length; i += step)
    if (usePx[i] === 1) points.push({ ...at(i), value: picture[i]! });
  const plane = fitPlane(points, 1);
  if (!plane) return;
  for (let i = 0; i < picture.length; i++) {
    const { x, y } = at(i);
    picture[i]! -= plane.slopeX * x + plane.slopeY * y;
  }
}
