import { realpathSync } from "node:fs";
import { basename } from "node:path";
import { ccdPlans } from "../../../drivers/formats/ccd-image.ts";
import type { Card } from "../../../drivers/formats/fits-card.ts";
import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import type { HduPlan } from "../../../drivers/formats/fits-header-write.ts";
import type { ProofFigure } from "../../imaging/proof/proof-figure.ts";
import { maskLegend } from "../../masters/mask-legend.ts";
import { originCards, timeCards } from "../../masters/master-cards.ts";
import type { MasterOrigin } from "../../masters/master-hdus.ts";
import type { Threads } from "../../threads/threads.ts";
import { checkIsDark, statedKind } from "../frame-kind.ts";
import { checkSameSize, openImage, openPictures } from "../image-file.ts";
import { InputError } from "../input-error.ts";
import { keptCards } from "../kept-cards.ts";
import { checkOutput } from "../output-name.ts";
import { darkSettings, settingDifferences } from "../same-setting.ts";
import { exposureSpans } from "./exposure-spans.ts";
import { frameList } from "./frame-list.ts";

/**
 * `series`: as a run does with frames that it takes; flats are brought to one level, darks are not. The others take values as they are.
 */
export const combineMethods = ["series", "mean", "clipped", "median"] as const;
export type CombineMethod = (typeof combineMethods)[number];

/** What every method needs to be told. */
export interface MasterRequest {
  readonly files: readonly string[];
  /** The master frame to be written. */
  readonly output: string;
  /** A master dark, taken off. */
  readonly darkFile?: string;
  readonly replace: boolean;
  /** Frames that call themselves of several kinds are meant to go together. */
  readonly mixedKinds?: boolean;
  readonly writtenUtcMs: number;
  /** For a second thread where that pays; without it all is done on this one. */
  readonly threads?: Threads;
  /** Ends it between two tiles. */
  readonly signal?: AbortSignal;
}

export interface CombineResult {
  readonly output: string;
  readonly method: CombineMethod | "displaced";
  readonly frameCount: number;
  readonly widthPx: number;
  readonly heightPx: number;
  /** Median of the result over trusted pixels [adu]. */
  readonly levelAdu: number | undefined;
  /** One sigma of a pixel of the result [adu], from the scatter of the frames. */
  readonly noiseAdu: number | undefined;
  /** Share of all values that were left out. */
  readonly rejectedFraction: number;
  /** Share that clipping leaves out of nothing but noise, at most. */
  readonly rejectedByChance?: number;
  /** `series`: frames left out for their level or a cloud; `frameCount` does not count them. */
  readonly refusedFrames?: number;
  readonly maskedPx: number;
  /** For what part of the frame the master speaks. */
  readonly trusted: ProofFigure;
  readonly warnings: readonly string[];
}

/** A master dark, with its noise and mask where it has them. */
export interface DarkParts {
  readonly image: FitsFileImage;
  readonly sigma: FitsFileImage | undefined;
  readonly mask: FitsFileImage | undefined;
}

/** What a master is made of, opened. */
export interface OpenedSeries {
  readonly images: readonly FitsFileImage[];
  readonly dark: DarkParts | undefined;
  readonly warnings: readonly string[];
}

/**
 * Opens the files and the dark; they are closed with `opened`.
 * @throws InputError for too few, for unequal sizes, or if the output may not be written
 */
export function openSeries(
  request: MasterRequest,
  framesLeast: number,
  opened: DisposableStack,
): OpenedSeries {
  const files = request.files.map((path) => opened.use(openPictures(path)));
  const images = files.flatMap(({ pictures }) => pictures);
  checkNamedOnce(request.files);
  if (images.length < framesLeast) {
    throw new InputError(
      images.length === 1 ? "1 frame cannot be combined." : `${images.length} frames cannot be combined.`,
      `Name at least ${framesLeast === 2 ? "two" : framesLeast}, in files of their own or in sequences.`,
    );
  }
  checkOutput(
    request.output,
    [...request.files, ...(request.darkFile ? [request.darkFile] : [])],
    request.replace,
  );
  const first = images[0]!;
  for (const image of images) checkSameSize(image, first);
  if (request.mixedKinds !== true) checkOneKind(images);
  const dark = request.darkFile === undefined ? undefined : openDark(opened, request.darkFile, first);
  const warnings = [
    ...files.flatMap((file) => file.warnings),
    ...images.slice(1).flatMap((image) => settingDifferences(image, first)),
    ...(dark ? settingDifferences(dark.image, first, darkSettings) : []),
  ];
  return { images, dark, warnings };
}

/** A frame that counts twice would show less noise than there is. @throws InputError */
function checkNamedOnce(files: readonly string[]): void {
  const seen = new Set<string>();
  for (const path of files) {
    const real = realpathSync(path);
    if (seen.has(real)) throw new InputError(`${path} is named twice.`, "Name each frame once.");
    seen.add(real);
  }
}

/** @throws InputError if their headers say that flats, darks or images are mixed */
function checkOneKind(images: readonly FitsFileImage[]): void {
  let first: FitsFileImage | undefined;
  for (const image of images) {
    const kind = statedKind(image.header);
    if (kind === undefined) continue;
    first ??= image;
    const firstKind = statedKind(first.header);
    if (kind !== firstKind)
      throw new InputError(
        `${image.path} calls itself a frame of kind ${kind}, ${first.path} of kind ${firstKind}.`,
        "Combine frames of one kind at a time. If they are meant to go together, pass --despite-kind.",
      );
  }
}

function openDark(opened: DisposableStack, path: string, first: FitsFileImage): DarkParts {
  const { file, image } = openImage(path);
  opened.use(file);
  checkIsDark(image);
  const parts = { image, sigma: file.findImage("UNCERT"), mask: file.findImage("MASK") };
  for (const part of [parts.image, parts.sigma, parts.mask]) if (part) checkSameSize(part, first);
  return parts;
}

export function shapeOf([first]: readonly FitsFileImage[]) {
  return { widthPx: first!.widthPx, heightPx: first!.rowCount };
}

/** Of a master in adu with UNCERT and MASK. @param how in words, for HISTORY */
export function masterPlans(
  request: MasterRequest,
  images: readonly FitsFileImage[],
  how: string,
): HduPlan[] {
  const cards = [
    ...keptCards(images[0]!.header.cards),
    ...timeCards(exposureSpans(images.map((image) => image.header))),
    ...originCards(images.length, darkName(request)),
    ...historyCards(how, images),
  ];
  const labels = { unit: "adu", cards, maskCards: maskLegend } as const;
  return ccdPlans(shapeOf(images), labels, { sigma: true, mask: true });
}

/** Where a master comes from that has figures of its own. @param used those of the images that it is made of */
export function masterOrigin(
  request: MasterRequest,
  images: readonly FitsFileImage[],
  used: readonly FitsFileImage[],
  how: string,
): MasterOrigin & Required<Pick<MasterOrigin, "more">> {
  const darkFile = darkName(request);
  return {
    cards: keptCards(images[0]!.header.cards),
    spans: exposureSpans(used.map(({ header }) => header)),
    ...(darkFile === undefined ? {} : { darkFile }),
    more: historyCards(how, used),
  };
}

/** As the result's header has it. */
function darkName({ darkFile }: MasterRequest): string | undefined {
  return darkFile === undefined ? undefined : basename(darkFile);
}

/** What was made of which files. */
function historyCards(how: string, images: readonly FitsFileImage[]): Card[] {
  return [
    `evenfield combine: ${how} of ${images.length} frames`,
    ...frameList(images.map(({ path }) => path)).map((frames) => `  ${frames}`),
  ].map((value) => ({ keyword: "HISTORY", value }));
}
