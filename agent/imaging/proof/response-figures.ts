import type { Flat } from "../combining/normalise-flat.ts";
import { findTrustedPx } from "../combining/trusted-px.ts";
import {
  type ResponseEffect,
  responseAt,
  responseEffect,
  type SensorResponse,
} from "../light/sensor-response.ts";
import { judgeFigure, type ProofFigure } from "./proof-figure.ts";

/** The sensor's curve at the setting of a flat, or why nobody knows it. */
export type ResponseProof = SensorResponse | { readonly notMeasured: string };

/** Where in its range a flat was taken: of full scale, its brightest parts and where its gain is 1. */
export interface FlatLevels {
  readonly edge: number;
  readonly mean: number;
}

/** Images whose brightest parts lie so high are usual; the lower one suffers more. */
export const imageLevels = [0.4, 0.7] as const;

/** What a curve does to images that are divided by a flat. */
export interface CurveOfFlat {
  /** The flat was made of counts that were straightened by the curve, and images have to be. */
  readonly corrected: boolean;
  readonly coefficients: SensorResponse["coefficients"];
  /** Of the flat as such, against true gains; images that are faint all over have all of it. */
  readonly ofFlat: ResponseEffect;
  /** Of images as bright as `imageLevels`. */
  readonly ofImages: readonly (ResponseEffect & { readonly imageLevel: number })[];
  /** Largest error of an image at the lowest of these levels, with its sigma. */
  readonly worst: number;
  readonly worstSigma: number;
}

const foundSigmas = 3;
/** A curve that leaves more than this of images unknown is no correction. */
const correctionSigmaMost = 0.0005;
const sampleSidePx = 16;

/** @returns `undefined` where the flat has no pixel to be used */
export function curveOfFlat(
  response: SensorResponse,
  flat: Pick<Flat, "gain" | "mask" | "shape">,
  levels: FlatLevels,
  corrected = false,
): CurveOfFlat | undefined {
  const gains = sampleGains(flat);
  if (gains.length === 0) return undefined;
  const at = (imageLevel: number) => ({
    flatLevel: levels.mean,
    pictureLevel: (levels.mean * imageLevel) / levels.edge,
  });
  const errors = gains.map((gain) => differenceAt(response, gain, at(imageLevels[0])));
  const mean = errors.reduce((sum, error) => sum + error, 0) / errors.length;
  const worst = errors.reduce(
    (most, error, k) => (Math.abs(error - mean) > Math.abs(errors[most]! - mean) ? k : most),
    0,
  );
  const faint = responseEffect(response, gains, { flatLevel: levels.mean, pictureLevel: 0 });
  const image = responseEffect(response, gains, at(imageLevels[0]));
  const worstError = Math.abs(errors[worst]! - mean);
  return {
    corrected,
    coefficients: response.coefficients,
    ofFlat: faint,
    ofImages: imageLevels.map((imageLevel) => ({
      imageLevel,
      ...responseEffect(response, gains, at(imageLevel)),
    })),
    worst: worstError,
    // All of a smooth curve is wrong by the same share.
    worstSigma: image.rms > 0 ? (worstError * image.sigma) / image.rms : image.sigma,
  };
}

/** @returns why a curve is not good enough to straighten counts by; `undefined` where it is */
export function whyNotCorrect(
  response: ResponseProof | undefined,
  flat: Pick<Flat, "gain" | "mask" | "shape">,
  levels: FlatLevels,
): string | undefined {
  if (!response) return "nobody measured the sensor's curve";
  if ("notMeasured" in response) return response.notMeasured;
  if (levels.edge > reachMost * response.most)
    return `the curve is known up to ${percent(response.most)} of full scale, and the flat reaches ${percent(levels.edge)}`;
  const sigma = Math.max(
    ...(curveOfFlat(response, flat, levels)?.ofImages ?? []).map((image) => image.sigma),
  );
  return sigma <= correctionSigmaMost
    ? undefined
    : `the curve leaves ${percent(sigma)} of images unknown, and ${percent(correctionSigmaMost)} is the most: the light was not steady enough for its ladder`;
}

/** Blocks' means lie a little below the brightest pixels. */
const reachMost = 1.1;

function percent(share: number): string {
  return `${Number((100 * share).toPrecision(2))} %`;
}

/** What a bent response makes of images, as a figure; none where nobody knows the curve. */
export function responseFigures(curve: CurveOfFlat | undefined): ProofFigure[] {
  if (!curve) return [];
  const { corrected, worst, worstSigma } = curve;
  const isBent = !corrected && worst > foundSigmas * worstSigma;
  return [judgeFigure("response", isBent ? worst : 0, worstSigma)];
}

function differenceAt(
  response: SensorResponse,
  gain: number,
  { flatLevel, pictureLevel }: { readonly flatLevel: number; readonly pictureLevel: number },
): number {
  return responseAt(response, flatLevel * gain) - responseAt(response, pictureLevel * gain);
}

/** Means of blocks, pixels that are not to be used left out. */
function sampleGains({ gain, mask, shape }: Pick<Flat, "gain" | "mask" | "shape">): number[] {
  const usePx = findTrustedPx({ gain, mask });
  const side = sampleSidePx;
  const gains: number[] = [];
  for (let top = 0; top + side <= shape.heightPx; top += side)
    for (let left = 0; left + side <= shape.widthPx; left += side) {
      let [sum, count] = [0, 0];
      for (let y = top; y < top + side; y++)
        for (let i = y * shape.widthPx + left; i < y * shape.widthPx + left + side; i++)
          if (usePx[i] === 1) {
            sum += gain[i]!;
            count++;
          }
      if (2 * count >= side * side) gains.push(sum / count);
    }
  return gains;
}
