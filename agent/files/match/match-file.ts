import { existsSync } from "node:fs";
import { matchImages } from "../../imaging/match/match-images.ts";
import { matchTrain, type TrainMatch } from "../../imaging/match/match-train.ts";
import type { KnownShadow } from "../../imaging/match/shadow-moves.ts";
import type { FftLibrary } from "../../imaging/numerics/fft-library.ts";
import { hearStop } from "../hear-stop.ts";
import { asFailedFile, InputError } from "../input-error.ts";
import { settingDifferences } from "../same-setting.ts";
import { findImageShadows, type MatchPicture, readMatchPicture } from "./match-picture.ts";

/** A master flat that a picture may have been taken with. */
export interface KnownFlat {
  readonly file: string;
  readonly trainMark: string;
  readonly madeUtcMs: number;
  readonly verdict: string;
  /** Its dust, where it was kept. */
  readonly dust?: readonly KnownShadow[];
}

export interface TriedFlat extends KnownFlat {
  /** Whether the picture says that it was taken with the same assembly; `undefined` when it does not say. */
  readonly sameTrain: boolean | undefined;
  readonly match: TrainMatch;
}

export interface LeftOutFlat {
  readonly file: string;
  readonly reason: string;
}

export interface FileMatch {
  /** That fits best, whatever it says. */
  readonly best: TriedFlat | undefined;
  readonly tried: number;
  readonly leftOut: readonly LeftOutFlat[];
}

/** Settings without which no flat fits, whatever the dust says. */
const mustAgree = ["INSTRUME", "FILTER", "XBINNING", "XORGSUBF", "YORGSUBF", "ROTATANG", "ROWORDER"] as const;

/**
 * The master that fits a flat, or images of one train taken together: same size and settings, then the same train mark before
 * others, then the dust.
 * @param paths one flat, or one image or more
 * @param flats newest first
 * @throws InputError if they can't be read or do not go together, and the signal's reason
 */
export async function matchFiles(
  fft: FftLibrary,
  paths: readonly string[],
  flats: readonly KnownFlat[],
  options: {
    readonly darkFile?: string;
    readonly onFlat: (done: number, of: number) => void;
    readonly signal: AbortSignal;
  },
): Promise<FileMatch> {
  const pictures = readTogether(paths, options.darkFile);
  const picture = pictures[0]!;
  const mark = picture.header.text("TRAINMRK")?.trim();
  const leftOut: LeftOutFlat[] = [];
  let best: { flat: KnownFlat; read: MatchPicture; match: TrainMatch } | undefined;
  let tried = 0;
  const inOrder = flats.toSorted((a, b) => Number(b.trainMark === mark) - Number(a.trainMark === mark));
  for (const [index, flat] of inOrder.entries()) {
    options.onFlat(index, inOrder.length);
    await hearStop(options.signal);
    const read = readFlat(flat, picture);
    if (typeof read === "string") {
      leftOut.push({ file: flat.file, reason: read });
      continue;
    }
    tried++;
    const match = compared(fft, read, [picture], []);
    if (!best || scoreOf(match) > scoreOf(best.match) + 0.01) best = { flat, read, match };
  }
  if (!best) return { best: undefined, tried, leftOut };
  const { flat, read } = best;
  const match = compared(fft, read, pictures, flat.dust ?? findImageShadows(read));
  return {
    best: { ...flat, sameTrain: mark === undefined ? undefined : mark === flat.trainMark, match },
    tried,
    leftOut,
  };
}

/** A flat to be held against several pictures: read once, and its dust looked for once. */
export class MatchedFlat {
  readonly #flat: MatchPicture;
  #shadows: readonly KnownShadow[] | undefined;

  /** @throws InputError if it can't be read */
  constructor(private readonly file: string) {
    this.#flat = readMatchPicture(file);
  }

  /** Whether it fits one picture. @throws InputError if that can't be read or is of another size */
  with(fft: FftLibrary, path: string, darkFile?: string): TrainMatch {
    const picture = readMatchPicture(path, darkFile);
    if (!sameSize(this.#flat, picture))
      throw new InputError(
        `${path} and ${this.file} are not of one size.`,
        "Take a flat of the same binning and region.",
      );
    if (!this.#shadows) {
      // Dust by dust it takes seconds: only where the whole leaves it open whether something moved.
      const whole = compared(fft, this.#flat, [picture], []);
      if (isNoReasonForMore(whole)) return whole;
      this.#shadows = findImageShadows(this.#flat);
    }
    return compared(fft, this.#flat, [picture], this.#shadows);
  }
}

function compared(
  fft: FftLibrary,
  flat: MatchPicture,
  pictures: readonly MatchPicture[],
  shadows: readonly KnownShadow[],
): TrainMatch {
  const structures = pictures.map(({ structure }) => structure);
  return pictures[0]!.kind === "flat"
    ? matchTrain(fft, flat.structure, structures[0]!, shadows, "flat")
    : matchImages(fft, flat.structure, structures, shadows);
}

/** Nothing to be seen, all of it in place, or as much of it as an image of the Sun lets see. */
function isNoReasonForMore({ says, shareAtZero, shareSigma }: TrainMatch): boolean {
  return (
    says === "fits" ||
    says === "untold" ||
    (says === "uncertain" && shareAtZero - 2 * shareSigma > inPlaceShare)
  );
}

/** A turn or a shift that does harm leaves less of the flat's structure in place. */
const inPlaceShare = 0.8;

/** More of them tell little more, and each takes its memory. */
const togetherMost = 16;

function readTogether(paths: readonly string[], darkFile: string | undefined): readonly MatchPicture[] {
  const every = Math.max(1, paths.length / togetherMost);
  const spread = Array.from(
    { length: Math.min(paths.length, togetherMost) },
    (_, k) => paths[Math.floor(k * every)]!,
  );
  const pictures = spread.map((path) => readMatchPicture(path, darkFile));
  const first = pictures[0]!;
  for (const one of pictures.slice(1)) {
    if (one.kind === "flat" || first.kind === "flat")
      throw new InputError(
        "Flats are matched one at a time, and images together.",
        "Name one flat, or images alone.",
      );
    const differs = settingDifferences(one, first, mustAgree);
    if (!sameSize(one, first)) differs.unshift(`${one.path} and ${first.path} are not of one size`);
    if (differs.length > 0)
      throw new InputError(`${differs.join("; ")}.`, "Name images of one train, taken with one setting.");
  }
  return pictures;
}

/** What lies in place counts before what could be shifted into place. */
function scoreOf({ correlation, correlationAtZero }: TrainMatch): number {
  return Math.max(correlationAtZero, correlation - 0.05);
}

/** @returns why it was left out, if it was */
function readFlat(flat: KnownFlat, picture: MatchPicture): MatchPicture | string {
  if (!existsSync(flat.file)) return "the file is no longer there";
  let read: MatchPicture;
  try {
    read = readMatchPicture(flat.file);
  } catch (error) {
    return asFailedFile(error, flat.file).happened;
  }
  if (!sameSize(read, picture)) return `${read.shape.widthPx} x ${read.shape.heightPx} px, another size`;
  const differs = settingDifferences(picture, read, mustAgree);
  return differs.length > 0 ? differs.join("; ") : read;
}

function sameSize(a: MatchPicture, b: MatchPicture): boolean {
  return a.shape.widthPx === b.shape.widthPx && a.shape.heightPx === b.shape.heightPx;
}
