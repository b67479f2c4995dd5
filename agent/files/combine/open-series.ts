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
import { checkSameSize, openImage } from "../image-file.ts";
import { InputError } from "../input-error.ts";
import { keptCards } from "../kept-cards.ts";
import { checkOutput } from "../output-name.ts";
import { darkSettings, settingDifferences } from "../same-setting.ts";
import { exposureSpans } from "./exposure-spans.ts";

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
  filesLeast: number,
  opened: DisposableStack,
): OpenedSeries {
  const images = request.files.map((path) => open(opened, path).image);
  checkNamedOnce(request.files);
  if (images.length < filesLeast) {
    const files = images.length === 1 ? "1 file" : `${images.length} files`;
    throw new InputError(
      `${files} cannot be combined.`,
      `Name at least ${filesLeast === 2 ? "two" : filesLeast}.`,
    );
  }
  checkOutput(
    request.output,
    [...request.files, ...(request.darkFile ? [request.darkFile] : [])],
    request.replace,
  );
  const first = images[0]!;
  for (const image of images) checkSameSize(image, first);
  const dark = request.darkFile === undefined ? undefined : openDark(opened, request.darkFile, first);
  const warnings = [
    ...images.slice(1).flatMap((image) => [...otherKind(image, first), ...settingDifferences(image, first)]),
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

function otherKind(image: FitsFileImage, first: FitsFileImage): string[] {
  const [kind, firstKind] = [statedKind(image.header), statedKind(first.header)];
  if (kind === undefined || firstKind === undefined || kind === firstKind) return [];
  return [`${image.path} calls itself a frame of kind ${kind}, ${first.path} of kind ${firstKind}`];
}

function open(opened: DisposableStack, path: string): ReturnType<typeof openImage> {
  const found = openImage(path);
  opened.use(found.file);
  return found;
}

function openDark(opened: DisposableStack, path: string, first: FitsFileImage): DarkParts {
  const { file, image } = open(opened, path);
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
): MasterOrigin {
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
    ...images.map(({ path }) => `  ${basename(path)}`),
  ].map((value) => ({ keyword: "HISTORY", value }));
}
