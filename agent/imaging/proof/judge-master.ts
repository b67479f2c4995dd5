import { type Flat, relativeNoise } from "../combining/normalise-flat.ts";
import { findTrustedPx } from "../combining/trusted-px.ts";
import { type RadialProfile, radialProfile } from "../disc/radial-profile.ts";
import { type DustFound, findDust } from "../dust/dust.ts";
import type { FftLibrary } from "../numerics/fft-library.ts";
import { type FlatShape, flatShape } from "./flat-shape.ts";
import { describeOrigin, type FringeLight, fringeOrigin } from "./fringe-origin.ts";
import { type FringeSearch, findFringes } from "./fringes.ts";
import { type LeftoverSun, leftoverSun } from "./leftover-sun.ts";
import { type Photons, photonLimit } from "./photon-limit.ts";
import { judgeFigure, type ProofFigure } from "./proof-figure.ts";
import { judgeTrusted } from "./trusted-part.ts";

/** What is known of a flat besides its pixels; each part may be left out. */
export interface ProofFacts {
  readonly focalRatio?: number;
  /** As binned. */
  readonly pixelMicron?: number;
  readonly wavelengthNm?: number;
  readonly bandwidthAngstrom?: number;
  readonly photons?: Photons;
  /** The Sun without blur, dark taken off; whether any of it is left in the flat. */
  readonly sunAdu?: Float32Array;
  /** To look for fringes with. */
  readonly fft?: FftLibrary;
  /** A single frame's own noise is not a master's. Default false. */
  readonly isSingle?: boolean;
}

/** What a flat tells by itself. */
export interface MasterJudgement {
  readonly figures: readonly ProofFigure[];
  /** Of a pixel, share of the level. */
  readonly noise: number | undefined;
  /** That photons and reading out allow. */
  readonly photonLimit: number | undefined;
  readonly shape: FlatShape | undefined;
  readonly radial: RadialProfile;
  readonly dust: readonly DustFound[];
  readonly fringes: FringeSearch | undefined;
  readonly leftoverSun: LeftoverSun | undefined;
}

/**
 * Judges everything that can be told of a flat from its own pixels. A run's proof and a look at its file go through here
 * alike, so that both say the same.
 * @param dust as it was found in this flat before; searched for when left out
 */
export function judgeMaster(
  flat: Flat,
  known: ProofFacts,
  dust: readonly DustFound[] = findDust(flat, known),
): MasterJudgement {
  const noise = relativeNoise(flat);
  const limit = known.photons && photonLimit(flat, known.photons);
  const shape = flatShape(flat);
  const deepest = dust.toSorted((a, b) => b.depth - a.depth)[0];
  const fringes = known.fft && findFringes(known.fft, flat.gain, findTrustedPx(flat), flat.shape);
  const left = known.sunAdu && leftoverSun(flat, dividedBy(known.sunAdu, flat), flat.shape);
  const figures = [
    judgeTrusted(flat),
    ...(noise === undefined || known.isSingle ? [] : [judgeFigure("noise", noise)]),
    // In a single frame the pixels' own response looks like noise.
    ...(noise === undefined || limit === undefined || known.isSingle
      ? []
      : [judgeFigure("photonLimit", noise / limit)]),
    ...(left ? [judgeFigure("leftoverSun", insignificantIsNone(left), left.worstSigma)] : []),
    ...(fringes ? [judgeFringes(fringes, fringeLight(known))] : []),
    ...(shape ? shapeFigures(shape) : []),
    judgeFigure("dust", deepest?.depth ?? 0, deepest?.depthSigma),
  ];
  return {
    figures,
    noise,
    photonLimit: limit,
    shape,
    radial: radialProfile(flat),
    dust,
    fringes,
    leftoverSun: left,
  };
}

function shapeFigures(shape: FlatShape): ProofFigure[] {
  const { cornerOverCentre, cornerOverCentreSigma, gradientBeyondVignetting, gradientSigma, hotSpot } = shape;
  return [
    // Corners that a small disc out of focus leaves unlit are masked: nothing is known of them.
    ...(cornerOverCentre > 0 ? [judgeFigure("corner", cornerOverCentre, cornerOverCentreSigma)] : []),
    judgeFigure("gradient", gradientBeyondVignetting, gradientSigma),
    // None found is none of more than 1 %.
    judgeFigure("hotSpot", hotSpot?.excess ?? 0, hotSpot?.sigma ?? 0.01 / 3),
  ];
}

/** What the stripes' period tells of the surfaces needs the light; `undefined` when that is not known. */
export function fringeLight({
  pixelMicron,
  wavelengthNm,
  bandwidthAngstrom,
}: ProofFacts): FringeLight | undefined {
  if (pixelMicron === undefined || wavelengthNm === undefined || !(wavelengthNm > 0)) return undefined;
  return { pixelMicron, wavelengthNm, ...(bandwidthAngstrom === undefined ? {} : { bandwidthAngstrom }) };
}

/**
 * None found is an amplitude of 0, with the smallest that would have been found as its sigma's threefold.
 * @param light to say what the period tells of the surfaces
 */
export function judgeFringes({ found, limit }: FringeSearch, light?: FringeLight): ProofFigure {
  if (!found) return judgeFigure("fringes", 0, limit / 3);
  const figure = judgeFigure("fringes", found.amplitude, found.amplitudeSigma);
  if (figure.verdict === "good" || !light) return figure;
  const whatToDo = `${figure.whatToDo} ${describeOrigin(fringeOrigin(found.periodPx, light), light)}`;
  return { ...figure, whatToDo };
}

function dividedBy(pictureAdu: Float32Array, flat: Flat): Float32Array {
  const divided = new Float32Array(pictureAdu.length);
  for (let i = 0; i < divided.length; i++) divided[i] = pictureAdu[i]! / flat.gain[i]!;
  return divided;
}

/** Chance overlap of the Sun's structure with the rig's is no picture of the Sun. */
function insignificantIsNone({ worst, worstSigma }: LeftoverSun): number {
  return worst > 3 * worstSigma ? worst : 0;
}
