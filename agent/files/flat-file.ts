import { basename } from "node:path";
import { type CcdImage, readCcdImage } from "../../drivers/formats/ccd-image.ts";
import { sumOfBytes } from "../../drivers/formats/fits-checksum.ts";
import { type FlatFactors, prepareFlat } from "../imaging/combining/apply.ts";
import { maskBits } from "../imaging/combining/mask-bits.ts";
import { markDeadPixels } from "../imaging/combining/normalise-flat.ts";
import type { CountCurve } from "../imaging/light/straighten.ts";
import { median } from "../imaging/numerics/order-statistics.ts";
import { readCurve } from "../masters/response-cards.ts";
import { checkMasters, type Despites } from "./apply/refusals.ts";
import { hasColourFilters } from "./frame-kind.ts";
import { openImage } from "./image-file.ts";
import { explainFileErrors, InputError } from "./input-error.ts";
import type { Labelled } from "./same-setting.ts";

/** A master read from a file; `sum` tells its pixels from those of another of the same name. */
interface MasterFile extends Labelled {
  readonly name: string;
  readonly sum: string;
  readonly image: CcdImage;
}

/** @throws InputError */
function readMaster(path: string): MasterFile {
  openImage(path).file.close(); // says what is wrong with it
  const image = explainFileErrors(path, () => readCcdImage(path));
  const { data } = image;
  const sum = sumOfBytes(new Uint8Array(data.buffer, data.byteOffset, data.byteLength));
  return { path, name: basename(path), header: image.header, sum: String(sum), image };
}

/** What images are divided by and have taken off, ready for many of them. */
export interface Calibration {
  readonly flat: MasterFile;
  readonly dark: MasterFile | undefined;
  readonly factors: FlatFactors;
  /** Of the sensor, that images are freed of as the flat was. */
  readonly curve: CountCurve | undefined;
  /** Pixels that the flat does not mask, whose factor no pixel needs: taken as masked. */
  readonly absurdPx: number;
  /** Median of the dark, rounded [adu]: the floor that a uint16 result keeps. */
  readonly darkLevelAdu: number;
}

/** @throws InputError if the files do not belong together or are not what they have to be, unless that is meant */
export function readCalibration(
  flatFile: string,
  darkFile: string | undefined,
  despite: Despites = new Set(),
): Calibration {
  checkMasters(flatFile, darkFile, despite);
  const flat = readMaster(flatFile);
  const dark = darkFile === undefined ? undefined : readMaster(darkFile);
  const { widthPx, heightPx, data } = flat.image;
  if (dark && (dark.image.widthPx !== widthPx || dark.image.heightPx !== heightPx)) {
    throw new InputError(
      `${flatFile} is ${widthPx} x ${heightPx} px and ${darkFile} ${dark.image.widthPx} x ${dark.image.heightPx}.`,
      "Take a dark of the same binning and region.",
    );
  }
  const curve = curveOf(flat, dark);
  const mask = trustMask(flat.image, dark?.image);
  const absurdPx = markAbsurd(flat, mask);
  if (!mask.includes(0)) {
    throw new InputError(`${flatFile} holds no pixel that could be divided by.`, "Take another flat.");
  }
  const sigma = flat.image.sigma ?? new Float32Array(data.length);
  const factors = prepareFlat(
    { shape: { widthPx, heightPx }, gain: data, sigma, mask, levelAdu: 1 },
    { darkAdu: dark?.image.data },
  );
  return {
    flat,
    dark,
    factors,
    curve,
    absurdPx,
    darkLevelAdu: Math.round(dark ? (sampledMedian(dark.image.data) ?? 0) : 0),
  };
}

/** @throws InputError where images could not be straightened as the flat was */
function curveOf(flat: MasterFile, dark: MasterFile | undefined): CountCurve | undefined {
  const curve = readCurve(flat.header);
  if (!curve && flat.header.logical("RESPCOR") === true)
    throw new InputError(
      `${flat.path} was made of counts that were straightened by the sensor's curve, and does not say by which.`,
      "Take a flat whose header is whole.",
    );
  if (curve && !dark)
    throw new InputError(
      `${flat.path} was made of counts that were straightened by the sensor's curve, and images need the same above their dark.`,
      "Name the images' dark with --dark.",
    );
  return curve;
}

/** The flat's own mask, the dark's, and what cannot be divided by. */
function trustMask(flat: CcdImage, dark: CcdImage | undefined): Uint8Array {
  const mask = flat.mask?.slice() ?? new Uint8Array(flat.data.length);
  for (let i = 0; i < mask.length; i++) {
    const value = flat.data[i]!;
    if (!(value > 0 && value < Number.POSITIVE_INFINITY)) mask[i]! |= maskBits.unhealthy;
    if (dark?.mask) mask[i]! |= dark.mask[i]!;
  }
  return mask;
}

/** A corner of a fast lens keeps a fifth of the light; no healthy pixel is so far from the level as that. */
const factorMost = 20;

/** @returns how many pixels were masked: of another program's flat without a mask those unlike their neighbours, of every flat the absurd */
function markAbsurd({ image, header }: MasterFile, mask: Uint8Array): number {
  const { data, widthPx, heightPx } = image;
  const before = mask.slice();
  if (image.mask === undefined) markDeadPixels(data, mask, { widthPx, heightPx }, hasColourFilters(header));
  const level = sampledMedian(data) ?? 1;
  let absurdPx = 0;
  for (let i = 0; i < mask.length; i++) {
    if (before[i] !== 0) continue;
    if (data[i]! * factorMost < level || data[i]! > factorMost * level) mask[i]! |= maskBits.unhealthy;
    if (mask[i] !== 0) absurdPx++;
  }
  return absurdPx;
}

function sampledMedian(values: Float32Array): number | undefined {
  const every = Math.max(1, Math.floor(values.length / 100_000)) | 1;
  return median(values.filter((_, index) => index % every === 0));
}
