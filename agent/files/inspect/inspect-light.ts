import type { FitsHeader } from "../../../drivers/formats/fits-header.ts";
import type { Flat } from "../../imaging/combining/normalise-flat.ts";
import { findDisc } from "../../imaging/disc/disc.ts";
import type { DiscPx } from "../../imaging/displaced/sun-model.ts";
import { correctLight, type LightCorrection } from "../../imaging/light/correct-light.ts";
import { measureLight } from "../../imaging/light/measure-light.ts";
import type { LightInput } from "../../imaging/light/solve-looks.ts";
import type { FftLibrary } from "../../imaging/numerics/fft-library.ts";
import { mapInto } from "../../imaging/numerics/map-into.ts";
import type { Shape } from "../../imaging/numerics/shape.ts";
import { type LightProof, lightFigures, nobodyLooked } from "../../imaging/proof/light-figures.ts";
import { judgeFigure, type ProofFigure } from "../../imaging/proof/proof-figure.ts";
import { InputError } from "../input-error.ts";
import { type InspectionFigures, type PlainFigure, readPicture } from "./inspected-picture.ts";

export interface LooksAsked {
  /** Frames of the plain Sun from different pointings. */
  readonly lookFiles?: readonly string[];
  /** Master dark or bias that is taken off them; without it they are taken as they are. */
  readonly darkFile?: string;
  /** Draws numbers in [0, 1), to look for the limb with. */
  readonly uniform?: () => number;
}

/** What named frames of the Sun say of a flat's light, and what a correction by them would do. */
export interface LightOfFiles {
  readonly light: LightProof;
  readonly correction?: LightCorrection;
}

/** Both halves need four, and share the first. */
const looksToCorrect = 7;
/** So many equal pixels at the top of a frame are clipped. */
const clippedLeast = 20;

/**
 * Holds a flat's light against frames of the Sun.
 * @returns `undefined` when no frames are named @throws InputError for a file that can't be read or is of another size
 */
export function lightOfFiles(
  flat: Flat,
  { lookFiles = [], darkFile, uniform }: LooksAsked,
  fft: FftLibrary,
): LightOfFiles | undefined {
  if (lookFiles.length === 0) return undefined;
  const { shape } = flat;
  const dark = darkFile === undefined ? undefined : readValues(darkFile, shape);
  const looks = lookFiles.map((file) => {
    const levels = maskClipped(readValues(file, shape));
    return dark ? levels.map((value, i) => value - dark[i]!) : levels;
  });
  const disc = looks[0] && uniform && discOf(looks[0], shape, uniform);
  const input = { shape, looks, flat, asksClearShare: true, ...(disc ? { disc } : {}) };
  const light = measureLight(fft, input);
  const correction = isWorthCorrecting(light) ? tryCorrection(fft, input) : undefined;
  return { light, ...(correction ? { correction } : {}) };
}

function isWorthCorrecting(light: LightProof): boolean {
  if ("notMeasured" in light) return false;
  const { surely, clearShare } = light;
  return surely.worst > 0 || (clearShare !== undefined && clearShare.share > 3 * clearShare.sigma);
}

/** Half of the looks make the correction, the other half prove it; where the first one lies the flat was taken, so both have it. */
function tryCorrection(fft: FftLibrary, input: LightInput): LightCorrection | undefined {
  const { looks, ...field } = input;
  if (looks.length < looksToCorrect) return undefined;
  // Whether axes were taken one after the other or by turns, either half has both.
  const isInner = (k: number) => k % 4 === 1 || k % 4 === 2;
  const half = (inner: boolean) => [looks[0]!, ...looks.slice(1).filter((_, k) => isInner(k) === inner)];
  const heldOut = { looks: half(true), ...(input.disc ? { disc: input.disc } : {}) };
  return correctLight(fft, { ...field, looks: half(false), heldOut }).correction;
}

/** In words: what a run with `correctLight: true` would make of the flat. */
export function describeCorrection(correction: LightCorrection | undefined): string[] {
  if (!correction) return [];
  const { kept, because, before, after } = correction;
  const percent = (share: number) => `${Number((100 * share).toPrecision(2))} %`;
  const proof =
    before && after
      ? ` By half of these frames, which it does not know, the light's error over the field seen would be ${percent(after.rms)} instead of ${percent(before.rms)}.`
      : "";
  return kept
    ? [
        `A correction of the light would help: \`correctLight: true\` at the flat in a plan takes it out.${proof}`,
      ]
    : [`A correction of the light would not help: ${because}.${proof}`];
}

function readValues(file: string, { widthPx, heightPx }: Shape): Float32Array {
  const { picture } = readPicture(file);
  if (picture.widthPx !== widthPx || picture.heightPx !== heightPx)
    throw new InputError(
      `${file} is ${picture.widthPx} x ${picture.heightPx} px and the flat ${widthPx} x ${heightPx}.`,
      "Name frames of the same binning and region.",
    );
  return picture.values;
}

function maskClipped(values: Float32Array): Float32Array {
  const top = values.reduce((most, value) => Math.max(most, value), 0);
  const count = values.reduce((sum, value) => sum + (value === top ? 1 : 0), 0);
  return count < clippedLeast ? values.slice() : values.map((value) => (value === top ? Number.NaN : value));
}

/** The limb, where it is in sight. */
function discOf(levels: Float32Array, shape: Shape, uniform: () => number): DiscPx | undefined {
  const pixels = mapInto(new Uint16Array(levels.length), levels, (value) =>
    Number.isNaN(value) ? 65_535 : Math.max(0, Math.min(65_535, value)),
  );
  const sighting = findDisc(pixels, shape, {
    pedestalAdu: 0,
    darkBelowAdu: 0.02 * pixels.reduce((most, value) => Math.max(most, value), 0),
    uniform,
  });
  if (sighting.seen !== "limb") return undefined;
  return { x: sighting.disc.xPx, y: sighting.disc.yPx, radiusPx: sighting.disc.radiusPx };
}

/**
 * What is judged and what is told of it.
 * @param light `undefined` when no frames of the Sun were named: the header tells whether the run that made the flat had some
 */
export function lightFindings(light: LightProof | undefined, header: FitsHeader): InspectionFigures {
  if (light === undefined) return { figures: figuresWhenTaken(header), measures: [] };
  if ("notMeasured" in light) return { figures: lightFigures(light), measures: [] };
  const percent = (name: string, share: number, sigma?: number): PlainFigure => ({
    name,
    value: 100 * share,
    ...(sigma === undefined ? {} : { sigma: 100 * sigma }),
    unit: "%",
  });
  const { scales, curvature, seenFraction, clearShare, ghosts } = light;
  return {
    figures: lightFigures(light),
    measures: [
      percent("field that two looks showed", seenFraction),
      ...scales.map(({ sidePx, rms, sigma }) =>
        percent(`light's error in blocks of ${sidePx} px, rms`, rms, sigma),
      ),
      percent("light's curvature, centre to the sides", curvature.across, curvature.acrossSigma),
      percent("light's curvature, centre to top and bottom", curvature.down, curvature.downSigma),
      ...(clearShare ? [percent("light that came through clear", clearShare.share, clearShare.sigma)] : []),
      ...(ghosts.sky === undefined ? [] : [percent("brightest patch of sky beside the disc", ghosts.sky)]),
    ],
  };
}

function figuresWhenTaken(header: FitsHeader): ProofFigure[] {
  const seenFraction = header.logical("LIGHTSUN") === true ? header.number("LIGHTFLD") : undefined;
  return seenFraction === undefined ? lightFigures(nobodyLooked) : [judgeFigure("lightSeen", seenFraction)];
}

/**
 * What is to be said of the light beside its figures.
 * @param light `undefined` when no frames of the Sun were named
 */
export function describeLight(light: LightProof | undefined, isDarkNamed: boolean): string[] {
  if (light === undefined || "notMeasured" in light) return [];
  return [
    "A slope of the light was not measured: displaced frames can't tell it from a slope of the sky.",
    ...(isDarkNamed ? [] : [noDarkOffLooks]),
  ];
}

const noDarkOffLooks =
  "No dark was taken off the frames of the Sun: a dark level that is still in them passes for light. Name it with --dark unless it is off already.";
