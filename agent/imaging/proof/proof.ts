import type { Master } from "../combining/master-builder.ts";
import { type Flat, relativeNoise } from "../combining/normalise-flat.ts";
import { type RadialProfile, radialProfile } from "../disc/radial-profile.ts";
import { type DustFound, findDust } from "../dust/dust.ts";
import type { GrowthPoint } from "../noise/noise-growth.ts";
import type { FftLibrary } from "../numerics/fft.ts";
import { type FlatShape, flatShape, trusted } from "./flat-shape.ts";
import { type FringeLight, fringeOrigin, originText } from "./fringe-origin.ts";
import { type FringeSearch, findFringes } from "./fringes.ts";
import { type GreyScale, greyTest } from "./grey-test.ts";
import { type LeftoverSun, leftoverSun } from "./leftover-sun.ts";
import { figureText, judge, type ProofFigure, type Verdict, worstOf } from "./proof-figure.ts";
import type { HalvesFigures } from "./series-halves.ts";

export interface ProofInput {
  readonly flat: Flat;
  /** The series that the flat was made from. */
  readonly series: Pick<Master, "frameCount" | "clippedFraction" | "growth" | "halves">;
  /** Upper edges of the series' frames over full scale: the median and the extremes. */
  readonly upperEdge: { readonly median: number; readonly least: number; readonly most: number };
  /** Frames of the same blur that are not in the flat, combined in the same way. */
  readonly independent: Pick<Master, "meanAdu" | "sigmaAdu" | "mask" | "frameCount">;
  /** Stray light over the flat's level, from the leak check. */
  readonly leak?: { readonly fraction: number; readonly sigmaFraction: number };
  /** Gradients across the frame, peak to peak, that two ways to tell it disagree by; of a solved flat. */
  readonly plane?: { readonly disagreement: number; readonly sigma: number };
  /** Of a flat by defocus. */
  readonly blurred?: BlurredProof;
  /** The Sun without blur, dark taken off; whether any of it is left in the flat. */
  readonly sunAdu?: Float32Array;
  readonly focalRatio?: number;
  readonly pixelMicron?: number;
  readonly wavelengthNm?: number;
  /** To look for fringes with. */
  readonly fft?: FftLibrary;
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
}

/** Proves a flat: every figure with its uncertainty, its limits and what to do about it. */
export function proveFlat(input: ProofInput): Proof {
  const { flat, series, upperEdge } = input;
  const grey = greyAgainst(flat, input.independent);
  const grey16 = grey.find((scale) => scale.sidePx === 16);
  const noise = relativeNoise(flat);
  const last = series.growth.at(-1);
  const shape = flatShape(flat);
  const leftover = input.sunAdu && leftoverSun(flat, dividedBy(input.sunAdu, flat), flat.shape);
  const fringes = input.fft && findFringes(input.fft, flat.gain, trusted(flat), flat.shape);
  const figures: ProofFigure[] = [
    judge("upperEdge", upperEdge.median, (upperEdge.most - upperEdge.least) / 4),
    judge("clipped", series.clippedFraction),
    ...(noise === undefined ? [] : [judge("noise", noise)]),
    ...(last ? [judge("evenOdd", last.measured / last.expected, 0.006)] : []),
    ...(series.halves ? [judge("drift", series.halves.driftRms, series.halves.driftSigma)] : []),
    ...(grey16 ? [judge("grey", grey16.excess, grey16.excessSigma)] : []),
    ...(leftover ? [judge("leftoverSun", insignificantIsNone(leftover), leftover.rmsSigma)] : []),
    ...(input.blurred ? blurredFigures(input.blurred) : []),
    ...(input.plane ? [judge("plane", input.plane.disagreement, input.plane.sigma)] : []),
    ...(fringes ? [judgeFringes(fringes, lightOf(input))] : []),
    ...(input.leak ? [judge("leak", input.leak.fraction, input.leak.sigmaFraction)] : []),
    // Corners that a small disc out of focus leaves unlit are masked: nothing is known of them.
    ...(shape && shape.cornerOverCentre > 0
      ? [judge("corner", shape.cornerOverCentre, shape.cornerOverCentreSigma)]
      : []),
  ];
  return {
    verdict: worstOf(figures),
    reasons: figures
      .filter((figure) => figure.verdict !== "good")
      .map((figure) => `${figureText(figure)}: ${figure.whatToDo}`),
    figures,
    frameCount: series.frameCount,
    grey,
    greyFrames: input.independent.frameCount,
    growth: series.growth,
    halves: series.halves,
    shape,
    radial: radialProfile(flat),
    dust: findDust(flat, {
      ...(input.focalRatio === undefined ? {} : { focalRatio: input.focalRatio }),
      ...(input.pixelMicron === undefined ? {} : { pixelMicron: input.pixelMicron }),
    }),
    leftoverSun: leftover,
    fringes,
  };
}

function blurredFigures(blurred: BlurredProof): ProofFigure[] {
  return [
    judge("blurLeftover", blurred.leftover, blurred.leftoverSigma),
    judge("lightGradient", blurred.gradientUnsure),
    judge("focusKept", blurred.focusKept),
  ];
}

/**
 * None found is an amplitude of 0, with the smallest that would have been found as its sigma's threefold.
 * @param light to say what the period tells of the surfaces
 */
export function judgeFringes({ found, limit }: FringeSearch, light?: FringeLight): ProofFigure {
  if (!found) return judge("fringes", 0, limit / 3);
  const figure = judge("fringes", found.amplitude, found.amplitudeSigma);
  if (figure.verdict === "good" || !light) return figure;
  const whatToDo = `${figure.whatToDo} ${originText(fringeOrigin(found.periodPx, light), light)}`;
  return { ...figure, whatToDo };
}

function lightOf({ pixelMicron, wavelengthNm }: ProofInput): FringeLight | undefined {
  return pixelMicron === undefined || wavelengthNm === undefined ? undefined : { pixelMicron, wavelengthNm };
}

/** The independent frames divided by the flat, and whether that is grey. */
export function greyAgainst(
  flat: Flat,
  independent: Pick<Master, "meanAdu" | "sigmaAdu" | "mask">,
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
  return greyTest(picture, noise, usePx, flat.shape);
}

function dividedBy(pictureAdu: Float32Array, flat: Flat): Float32Array {
  const divided = new Float32Array(pictureAdu.length);
  for (let i = 0; i < divided.length; i++) divided[i] = pictureAdu[i]! / flat.gain[i]!;
  return divided;
}

/** Chance overlap of the Sun's structure with the rig's is no picture of the Sun. */
function insignificantIsNone({ rms, rmsSigma }: LeftoverSun): number {
  return rms > 3 * rmsSigma ? rms : 0;
}
