import type { FitsHeader } from "../../../drivers/formats/fits-header.ts";
import type { FitsPixels } from "../../../drivers/formats/fits-pixels.ts";
import { equaliseColours } from "../../imaging/combining/colour-levels.ts";
import { type Flat, normaliseFlat } from "../../imaging/combining/normalise-flat.ts";
import { neighbourNoise } from "../../imaging/noise/neighbour-noise.ts";
import type { ProofFigure } from "../../imaging/proof/proof-figure.ts";
import { combinedCount, type FrameKind, frameKind, hasColourFilters } from "../frame-kind.ts";
import { openPictures } from "../image-file.ts";
import { explainFileErrors } from "../input-error.ts";

/** A number that is told but not judged. */
export interface PlainFigure {
  readonly name: string;
  readonly value: number;
  /** One sigma, where it is known. */
  readonly sigma?: number;
  readonly unit: "adu" | "%" | "px" | "deg" | "arcmin" | "mm" | "";
}

export interface InspectionFigures {
  readonly figures: readonly ProofFigure[];
  readonly measures: readonly PlainFigure[];
}

export interface Picture {
  readonly header: FitsHeader;
  readonly kind: FrameKind;
  /** Of several frames, or with a sigma of its own. */
  readonly isMaster: boolean;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly pixels: FitsPixels;
  /** The same numbers, for sums that need not care for the type; behind colour filters with all colours at one level. */
  readonly values: Float32Array;
  readonly sigma: Float32Array | undefined;
  readonly mask: Uint8Array;
  /** Whether the file has one. */
  readonly hasMask: boolean;
}

/** Which frame of a sequence stands for it, from 0. */
export interface ChosenFrame {
  readonly index: number;
  readonly of: number;
}

/** A picture, or the frame in the middle of a sequence. @throws InputError */
export function readPicture(path: string): { picture: Picture; type: string; frame?: ChosenFrame } {
  using opened = openPictures(path);
  const { pictures, file } = opened;
  const index = pictures.length >> 1;
  const image = pictures[index]!;
  return explainFileErrors(path, () => {
    const pixels = image.readRows(0, image.rowCount);
    const extension = (name: string) => {
      const found = pictures.length > 1 ? undefined : file?.findImage(name);
      const fits = found?.widthPx === image.widthPx && found.rowCount === image.rowCount;
      return fits ? found.readRows(0, found.rowCount) : undefined;
    };
    const sigma = extension("UNCERT");
    const mask = extension("MASK");
    const isColoured = hasColourFilters(image.header);
    const values = pixels instanceof Float32Array && !isColoured ? pixels : new Float32Array(pixels);
    const flags = mask === undefined ? new Uint8Array(pixels.length) : new Uint8Array(mask);
    const shape = { widthPx: image.widthPx, heightPx: image.rowCount };
    if (isColoured) equaliseColours(values, flags, shape);
    const picture = {
      header: image.header,
      kind: frameKind(image.header),
      isMaster: combinedCount(image.header) > 1 || sigma !== undefined,
      widthPx: image.widthPx,
      heightPx: image.rowCount,
      pixels,
      values,
      sigma: sigma === undefined ? undefined : new Float32Array(sigma),
      mask: flags,
      hasMask: mask !== undefined,
    };
    const frame = pictures.length > 1 ? { frame: { index, of: pictures.length } } : {};
    return { picture, type: image.layout.type, ...frame };
  });
}

/** Without UNCERT the noise is taken from the picture itself, the same everywhere. */
export function readAsFlat(picture: Picture): Flat | undefined {
  const { values, mask, widthPx, heightPx } = picture;
  const trusted = mask.slice();
  for (let i = 0; i < values.length; i++) if (!(values[i]! > 0)) trusted[i]! |= 1;
  const noise =
    picture.sigma === undefined ? (neighbourNoise(values, trustedPixelMask(picture), widthPx) ?? 0) : 0;
  const sigmaAdu = picture.sigma ?? new Float32Array(values.length).fill(noise);
  // Who made a flat of mean 1 with sigma and mask has masked what is dead: the middle of a deep shadow is not.
  const deadAreMasked =
    picture.sigma !== undefined && picture.hasMask && picture.header.text("BUNIT")?.trim() === "";
  return normaliseFlat(
    { shape: { widthPx, heightPx }, meanAdu: values, sigmaAdu, mask: trusted },
    { deadAreMasked },
  );
}

export function trustedPixelMask(picture: Picture): Uint8Array {
  return picture.mask.map((bits) => (bits === 0 ? 1 : 0));
}

/** About 100 000 trusted pixels spread over the picture. */
export function samplePixels({ values, mask }: Picture): number[] {
  const every = Math.max(1, Math.floor(values.length / 100_000)) | 1;
  const sample: number[] = [];
  for (let i = 0; i < values.length; i += every) {
    if (mask[i] === 0 && Number.isFinite(values[i]!)) sample.push(values[i]!);
  }
  return sample;
}
