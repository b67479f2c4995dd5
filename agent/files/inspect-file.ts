import type { FitsHeader } from "../../drivers/formats/fits-header.ts";
import type { FitsPixels } from "../../drivers/formats/fits-pixels.ts";
import { findDust } from "../imaging/dust.ts";
import { flatShape } from "../imaging/flat-shape.ts";
import { readLevel } from "../imaging/frame-level.ts";
import { neighbourNoise } from "../imaging/neighbour-noise.ts";
import { type Flat, normaliseFlat, relativeNoise } from "../imaging/normalise-flat.ts";
import { median } from "../imaging/order-statistics.ts";
import { combinedCount, type FrameKind, frameKind } from "./frame-kind.ts";
import { type Figure, graded, limits, type Verdict, worst } from "./grade.ts";
import { openImage } from "./image-file.ts";
import { asInputError } from "./input-error.ts";

export interface Inspection {
  readonly file: string;
  readonly kind: FrameKind;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly type: string;
  /** 1 for a single frame. */
  readonly frameCount: number;
  readonly figures: readonly Figure[];
  readonly verdict: Verdict;
  /** What keeps it from being good. */
  readonly reasons: readonly string[];
}

interface Picture {
  readonly header: FitsHeader;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly pixels: FitsPixels;
  /** The same numbers, for sums that need not care for the type. */
  readonly values: Float32Array;
  readonly sigma: Float32Array | undefined;
  readonly mask: Uint8Array;
}

/** Quality figures of a flat, a dark or an image, and what they say of its use. @throws InputError */
export function inspectFile(path: string): Inspection {
  const { picture, type } = readPicture(path);
  const kind = frameKind(picture.header);
  const frameCount = combinedCount(picture.header);
  const isMaster = frameCount > 1 || picture.sigma !== undefined;
  const figures = [
    ...levelFigures(picture, kind, isMaster),
    ...(kind === "flat"
      ? flatFigures(picture, isMaster)
      : [noiseFigure(picture)].filter((one) => one !== undefined)),
    ...maskFigures(picture),
  ];
  const flawed = figures.filter((figure) => figure.verdict !== undefined && figure.verdict !== "good");
  return {
    file: path,
    kind,
    widthPx: picture.widthPx,
    heightPx: picture.heightPx,
    type,
    frameCount,
    figures,
    verdict: worst(figures.flatMap((figure) => figure.verdict ?? [])),
    reasons: flawed.map((figure) => `${figure.name} ${valueText(figure)} (${figure.limits})`),
  };
}

function readPicture(path: string): { picture: Picture; type: string } {
  const { file, image } = openImage(path);
  using _ = file;
  try {
    const pixels = image.readRows(0, image.rowCount);
    const extension = (name: string) => {
      const found = file.findImage(name);
      const fits = found?.widthPx === image.widthPx && found.rowCount === image.rowCount;
      return fits ? found.readRows(0, found.rowCount) : undefined;
    };
    const sigma = extension("UNCERT");
    const mask = extension("MASK");
    const picture = {
      header: image.header,
      widthPx: image.widthPx,
      heightPx: image.rowCount,
      pixels,
      values: pixels instanceof Float32Array ? pixels : new Float32Array(pixels),
      sigma: sigma === undefined ? undefined : new Float32Array(sigma),
      mask: mask === undefined ? new Uint8Array(pixels.length) : new Uint8Array(mask),
    };
    return { picture, type: image.layout.type };
  } catch (error) {
    throw asInputError(error, path);
  }
}

function levelFigures(picture: Picture, kind: FrameKind, isMaster: boolean): Figure[] {
  const { pixels, widthPx, heightPx, header } = picture;
  if (isMaster || !(pixels instanceof Uint16Array)) {
    const level = median(sampled(picture));
    const unit = header.text("BUNIT")?.trim() === "" ? "" : "adu";
    return level === undefined ? [] : [{ name: "level", value: level, unit }];
  }
  const exposureSeconds = header.number("EXPTIME") ?? 0;
  const reading = readLevel(pixels, { widthPx, heightPx }, exposureSeconds, {
    pedestalAdu: 0,
    topAdu: 65535,
  });
  const black: Figure[] =
    kind === "dark" || kind === "bias"
      ? [graded("pixels at code 0", 100 * reading.lowClippedFraction, "%", limits.blackPercent)]
      : [{ name: "pixels at code 0", value: 100 * reading.lowClippedFraction, unit: "%" }];
  if (kind === "dark" || kind === "bias")
    return [{ name: "level", value: reading.medianLitAdu, unit: "adu" }, ...black];
  const edge = (100 * reading.edgeAdu) / reading.topAdu;
  return [
    { name: "level of the lit field", value: reading.medianLitAdu, unit: "adu" },
    { name: "highest code", value: reading.topAdu, unit: "adu" },
    kind === "flat"
      ? graded("upper edge", edge, "%", limits.upperEdgePercent)
      : { name: "upper edge", value: edge, unit: "%" },
    graded("clipped pixels", 100 * reading.clippedFraction, "%", limits.clippedPercent),
    ...black,
  ];
}

function flatFigures(picture: Picture, isMaster: boolean): Figure[] {
  const flat = asFlat(picture);
  if (flat === undefined)
    return [{ name: "lit pixels", value: 0, unit: "px", verdict: "bad", limits: "a flat needs light" }];
  const noise = 100 * (relativeNoise(flat) ?? 0);
  const shape = flatShape(flat);
  const dust = findDust(flat);
  return [
    isMaster
      ? graded("noise", noise, "%", limits.masterNoisePercent)
      : { name: "noise", value: noise, unit: "%" },
    ...(shape === undefined
      ? []
      : ([
          graded("corners over centre", 100 * shape.cornerOverCentre, "%", limits.cornerPercent),
          { name: "gradient, peak to peak", value: 100 * shape.gradientPeakToPeak, unit: "%" },
          ...(shape.hotSpot
            ? [{ name: "bright bump", value: 100 * shape.hotSpot.excess, unit: "%" } as const]
            : []),
        ] as const)),
    { name: "dust shadows", value: dust.length, unit: "" },
    ...(dust.length > 0
      ? [
          {
            name: "deepest shadow",
            value: 100 * Math.max(...dust.map((one) => one.depth)),
            unit: "%",
          } as const,
        ]
      : []),
  ];
}

/** Without UNCERT the noise is taken from the picture itself, the same everywhere. */
function asFlat(picture: Picture): Flat | undefined {
  const { values, mask, widthPx, heightPx } = picture;
  const trusted = mask.slice();
  for (let i = 0; i < values.length; i++) if (!(values[i]! > 0)) trusted[i]! |= 1;
  const noise = picture.sigma === undefined ? (neighbourNoise(values, usable(picture), widthPx) ?? 0) : 0;
  const sigmaAdu = picture.sigma ?? new Float32Array(values.length).fill(noise);
  return normaliseFlat({ shape: { widthPx, heightPx }, meanAdu: values, sigmaAdu, mask: trusted });
}

function noiseFigure(picture: Picture): Figure | undefined {
  const noise = neighbourNoise(picture.values, usable(picture), picture.widthPx);
  return noise === undefined ? undefined : { name: "noise from neighbours", value: noise, unit: "adu" };
}

function maskFigures(picture: Picture): Figure[] {
  const masked = picture.mask.reduce((count, bits) => count + (bits === 0 ? 0 : 1), 0);
  return masked === 0 ? [] : [{ name: "masked pixels", value: masked, unit: "px" }];
}

function usable(picture: Picture): Uint8Array {
  return picture.mask.map((bits) => (bits === 0 ? 1 : 0));
}

/** About 100 000 trusted pixels spread over the picture. */
function sampled({ values, mask }: Picture): number[] {
  const every = Math.max(1, Math.floor(values.length / 100_000)) | 1;
  const sample: number[] = [];
  for (let i = 0; i < values.length; i += every) {
    if (mask[i] === 0 && !Number.isNaN(values[i]!)) sample.push(values[i]!);
  }
  return sample;
}

/** Four significant digits and the unit. */
export function valueText({ value, unit }: Figure): string {
  const digits = Number.isInteger(value) ? String(value) : String(Number(value.toPrecision(4)));
  return unit === "" ? digits : `${digits} ${unit}`;
}
