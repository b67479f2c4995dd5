import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import type { FitsHeader } from "../../../drivers/formats/fits-header.ts";
import { equaliseColours } from "../../imaging/combining/colour-levels.ts";
import { normaliseFlat } from "../../imaging/combining/normalise-flat.ts";
import { findDust } from "../../imaging/dust/dust.ts";
import type { KnownShadow } from "../../imaging/match/shadow-moves.ts";
import { type SmallStructure, smallStructure } from "../../imaging/match/small-structure.ts";
import { mapInto } from "../../imaging/numerics/map-into.ts";
import type { Shape } from "../../imaging/numerics/shape.ts";
import { type FrameKind, frameKind, hasColourFilters } from "../frame-kind.ts";
import { checkSameSize, openImage, openPictures } from "../image-file.ts";
import { asInputError } from "../input-error.ts";

/** A picture read to be compared by its dust. */
export interface MatchPicture {
  readonly path: string;
  readonly header: FitsHeader;
  readonly kind: FrameKind;
  readonly shape: Shape;
  /** Above the dark where one was given; NaN where a pixel is not to be trusted. */
  readonly levels: Float32Array;
  readonly structure: SmallStructure;
}

/**
 * A picture, or the mean of a sequence.
 * @param darkFile taken off a raw picture; without it its dust seems a little shallower than it is
 * @throws InputError
 */
export function readMatchPicture(path: string, darkFile?: string): MatchPicture {
  using opened = openPictures(path);
  const { pictures } = opened;
  const image = pictures[0]!;
  try {
    const levels = meanOfFrames(pictures);
    const mask = pictures.length > 1 ? undefined : opened.file?.findImage("MASK");
    if (mask?.widthPx === image.widthPx && mask.rowCount === image.rowCount) {
      const bits = mask.readRows(0, mask.rowCount);
      for (let i = 0; i < levels.length; i++) if (bits[i] !== 0) levels[i] = Number.NaN;
    }
    if (darkFile !== undefined) {
      const dark = openImage(darkFile);
      using __ = dark.file;
      checkSameSize(image, dark.image);
      const off = dark.image.readRows(0, dark.image.rowCount);
      for (let i = 0; i < levels.length; i++) levels[i]! -= off[i]!;
    }
    const shape = { widthPx: image.widthPx, heightPx: image.rowCount };
    if (hasColourFilters(image.header))
      equaliseColours(
        levels,
        mapInto(new Uint8Array(levels.length), levels, (level) => (Number.isNaN(level) ? 1 : 0)),
        shape,
      );
    const { header } = image;
    return { path, header, kind: frameKind(header), shape, levels, structure: smallStructure(levels, shape) };
  } catch (error) {
    throw asInputError(error, path);
  }
}

/** More of them hardly tell more: the Sun wanders slowly. */
const framesMost = 32;

/** Of a sequence its mean: what the train does stays in place while the Sun and the seeing wander. */
function meanOfFrames(pictures: readonly FitsFileImage[]): Float32Array {
  const count = Math.min(framesMost, pictures.length);
  const frames = Array.from(
    { length: count },
    (_, k) => pictures[Math.floor((k * pictures.length) / count)]!,
  );
  const levels = new Float32Array(frames[0]!.widthPx * frames[0]!.rowCount);
  for (const frame of frames) {
    const pixels = frame.readRows(0, frame.rowCount);
    if (count === 1) return pixels instanceof Float32Array ? pixels : new Float32Array(pixels);
    for (let i = 0; i < levels.length; i++) levels[i]! += pixels[i]! / count;
  }
  return levels;
}

/** Dust of a flat, to follow shadow by shadow. */
export function findImageShadows({
  levels,
  shape,
}: Pick<MatchPicture, "levels" | "shape">): readonly KnownShadow[] {
  const mask = mapInto(new Uint8Array(levels.length), levels, (level) => (level > 0 ? 0 : 1));
  const meanAdu = levels.map((level) => (level > 0 ? level : 0));
  const flat = normaliseFlat({ shape, meanAdu, sigmaAdu: new Float32Array(levels.length), mask });
  return flat ? findDust(flat) : [];
}
