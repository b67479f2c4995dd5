import type { FitsHeader } from "../../../drivers/formats/fits-header.ts";
import { neighbourNoise } from "../../imaging/noise/neighbour-noise.ts";
import type { FftLibrary } from "../../imaging/numerics/fft-library.ts";
import {
  listReasons,
  type ProofFigure,
  type Verdict,
  worstVerdict,
} from "../../imaging/proof/proof-figure.ts";
import type { TonalSteps } from "../../imaging/proof/tonal-steps.ts";
import { combinedCount, type FrameKind } from "../frame-kind.ts";
import { InputError } from "../input-error.ts";
import {
  type FlatDetails,
  flatFindings,
  type NotJudged,
  notJudgedOf,
  type OpticsAsked,
} from "./inspect-flat.ts";
import { levelFindings } from "./inspect-levels.ts";
import { describeCorrection, describeLight, type LooksAsked } from "./inspect-light.ts";
import {
  type ChosenFrame,
  type InspectionFigures,
  type Picture,
  type PlainFigure,
  readPicture,
  samplePixels,
  trustedPixelMask,
} from "./inspected-picture.ts";

export interface InspectOptions extends OpticsAsked, LooksAsked {
  /** A picture of the Sun without blur; its structure is looked for in flats. */
  readonly sunFile?: string;
}

export interface Inspection {
  readonly file: string;
  readonly kind: FrameKind;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly type: string;
  /** Of a sequence: the frame that was looked at. */
  readonly frame?: ChosenFrame;
  /** 1 for a single frame. */
  readonly frameCount: number;
  readonly figures: readonly ProofFigure[];
  readonly measures: readonly PlainFigure[];
  readonly verdict: Verdict;
  /** What the proof of the run that made it said; the verdict is no better. */
  readonly proved?: Verdict;
  /** What keeps it from being good, and what to do. */
  readonly reasons: readonly string[];
  /** What this file alone can't tell: the verdict does not speak of it. */
  readonly notJudged: readonly NotJudged[];
  /** What is said besides: of a flat, what is not known of its light. */
  readonly notes: readonly string[];
  /** Of a flat: dust, profile, shape, fringes. */
  readonly flatDetails?: FlatDetails;
  /** Of a single frame in 16-bit words. */
  readonly codes?: TonalSteps;
}

/** Quality figures of a flat, a dark or an image, and what they say of its use. @throws InputError */
export function inspectFile(path: string, fft: FftLibrary, options: InspectOptions = {}): Inspection {
  const { picture, type, frame } = readPicture(path);
  checkHoldsPicture(path, picture);
  const { kind } = picture;
  const levels = levelFindings(picture);
  const flat = kind === "flat" ? flatFindings(picture, fft, options) : undefined;
  const parts = [levels, flat ?? noiseFindings(picture), maskFindings(picture)];
  const proved = kind === "flat" ? provedAs(picture.header) : undefined;
  const figures = parts.flatMap((part) => part.figures);
  return {
    file: path,
    kind,
    widthPx: picture.widthPx,
    heightPx: picture.heightPx,
    type,
    frameCount: combinedCount(picture.header),
    figures,
    measures: parts.flatMap((part) => part.measures),
    verdict: worstVerdict(proved === undefined ? figures : [...figures, { verdict: proved }]),
    reasons: [...listReasons(figures), ...provedReasons(proved)],
    notJudged: kind === "flat" ? notJudgedOf(picture, options.sunFile) : [],
    ...(frame === undefined ? {} : { frame }),
    notes: flat
      ? [
          ...describeLight(flat.seen?.light, options.darkFile !== undefined),
          ...describeCorrection(flat.seen?.correction),
        ]
      : [],
    ...(proved === undefined ? {} : { proved }),
    ...(flat?.flatDetails ? { flatDetails: flat.flatDetails } : {}),
    ...(levels.codes ? { codes: levels.codes } : {}),
  };
}

/** What says nothing must not come out as good for want of a figure. @throws InputError */
function checkHoldsPicture(path: string, picture: Picture): void {
  const values = samplePixels(picture);
  const first = values[0];
  if (first === undefined) {
    throw new InputError(
      `${path} holds no picture: its pixels have no value or are masked, all of them.`,
      "Leave it out.",
    );
  }
  // Figures of a flat or a dark say what is wrong with an even one.
  if (picture.isMaster || picture.kind !== "image" || values.some((value) => value !== first)) return;
  throw new InputError(
    `${path} holds no picture: every pixel is ${first}.`,
    first === 0
      ? "See whether the camera was covered or read out nothing."
      : "Shorten the exposure if that is full scale.",
  );
}

/** What a master's own proof said of it when it was taken, which saw more than the file keeps. */
function provedAs(header: FitsHeader): Verdict | undefined {
  const said = header.text("VERDICT")?.trim();
  return said === "good" || said === "usable" || said === "bad" ? said : undefined;
}

function provedReasons(proved: Verdict | undefined): string[] {
  if (proved === undefined || proved === "good") return [];
  return [`its own proof, when it was taken, said ${proved}: the report of its run says why`];
}

function noiseFindings(picture: Picture): InspectionFigures {
  const value = neighbourNoise(picture.values, trustedPixelMask(picture), picture.widthPx);
  return {
    figures: [],
    measures: value === undefined ? [] : [{ name: "noise from neighbours", value, unit: "adu" }],
  };
}

function maskFindings(picture: Picture): InspectionFigures {
  const value = picture.mask.reduce((count, bits) => count + (bits === 0 ? 0 : 1), 0);
  return { figures: [], measures: value === 0 ? [] : [{ name: "masked pixels", value, unit: "px" }] };
}
