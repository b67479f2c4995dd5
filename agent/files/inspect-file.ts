import type { FitsHeader } from "../../drivers/formats/fits-header.ts";
import type { FitsPixels } from "../../drivers/formats/fits-pixels.ts";
import { findDust } from "../imaging/dust.ts";
import { flatShape } from "../imaging/flat-shape.ts";
import { readLevel } from "../imaging/frame-level.ts";
import { neighbourNoise } from "../imaging/neighbour-noise.ts";
import { type Flat, normaliseFlat, relativeNoise } from "../imaging/normalise-flat.ts";
import { median } from "../imaging/order-statistics.ts";
import { figureText, judge, type ProofFigure, type Verdict, worstOf } from "../imaging/proof-figure.ts";
import { combinedCount, type FrameKind, frameKind } from "./frame-kind.ts";
import { openImage } from "./image-file.ts";
import { asInputError } from "./input-error.ts";

/** A number that is told but not judged. */
export interface Measure {
  readonly name: string;
  readonly value: number;
  readonly unit: "adu" | "%" | "px" | "";
}

export interface Inspection {
  readonly file: string;
  readonly kind: FrameKind;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly type: string;
  /** 1 for a single frame. */
  readonly frameCount: number;
  readonly figures: readonly ProofFigure[];
  readonly measures: readonly Measure[];
  readonly verdict: Verdict;
  /** What keeps it from being good, and what to do. */
  readonly reasons: readonly string[];
}

interface Picture {
  readonly header: FitsHeader;
  readonly kind: FrameKind;
  /** Of several frames, or with a sigma of its own. */
  readonly isMaster: boolean;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly pixels: FitsPixels;
  /** The same numbers, for sums that need not care for the type. */
  readonly values: Float32Array;
  readonly sigma: Float32Array | undefined;
  readonly mask: Uint8Array;
}

interface Findings {
  readonly figures: readonly ProofFigure[];
  readonly measures: readonly Measure[];
}

/** Quality figures of a flat, a dark or an image, and what they say of its use. @throws InputError */
export function inspectFile(path: string): Inspection {
  const { picture, type } = readPicture(path);
  const { kind } = picture;
  const parts = [
    levelFindings(picture),
    kind === "flat" ? flatFindings(picture) : noiseFindings(picture),
    maskFindings(picture),
  ];
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
    verdict: worstOf(figures),
    reasons: figures
      .filter((figure) => figure.verdict !== "good")
      .map((figure) => `${figureText(figure)}: ${figure.whatToDo}`),
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
      kind: frameKind(image.header),
      isMaster: combinedCount(image.header) > 1 || sigma !== undefined,
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

function levelFindings(picture: Picture): Findings {
  const { pixels, widthPx, heightPx, header, kind } = picture;
  if (picture.isMaster || !(pixels instanceof Uint16Array)) {
    const value = median(sampled(picture));
    const unit = header.text("BUNIT")?.trim() === "" ? "" : "adu";
    return { figures: [], measures: value === undefined ? [] : [{ name: "level", value, unit }] };
  }
  const exposureSeconds = header.number("EXPTIME") ?? 0;
  const camera = { pedestalAdu: 0, topAdu: 65535 };
  const reading = readLevel(pixels, { widthPx, heightPx }, exposureSeconds, camera);
  if (kind === "dark" || kind === "bias") {
    return {
      figures: [judgeBlack(reading.lowClippedFraction)],
      measures: [{ name: "level", value: reading.medianLitAdu, unit: "adu" }],
    };
  }
  const edge = reading.edgeAdu / reading.topAdu;
  return {
    figures: [
      ...(kind === "flat" ? [judge("upperEdge", edge)] : []),
      judge("clipped", reading.clippedFraction),
    ],
    measures: [
      { name: "level of the lit field", value: reading.medianLitAdu, unit: "adu" },
      { name: "highest code", value: reading.topAdu, unit: "adu" },
      ...(kind === "flat" ? [] : [{ name: "upper edge", value: 100 * edge, unit: "%" } as const]),
      { name: "pixels at code 0", value: 100 * reading.lowClippedFraction, unit: "%" },
    ],
  };
}

/** Noise of a dark must not be cut off at zero: less than one pixel in 10 000 may lie there. Own reasoning, no source. */
function judgeBlack(fraction: number): ProofFigure {
  const verdict = fraction <= 1e-4 ? "good" : fraction <= 1e-3 ? "usable" : "bad";
  return {
    id: "black",
    name: "pixels at code 0",
    value: fraction,
    unit: "share",
    good: [0, 1e-4],
    usable: [0, 1e-3],
    verdict,
    whatToDo: verdict === "good" ? "Nothing to be done." : "Raise the camera's offset.",
  };
}

function flatFindings(picture: Picture): Findings {
  const flat = asFlat(picture);
  if (flat === undefined) return { figures: [judge("upperEdge", 0)], measures: [] };
  const noise = relativeNoise(flat) ?? 0;
  const shape = flatShape(flat);
  const dust = findDust(flat);
  return {
    figures: [
      ...(picture.isMaster ? [judge("noise", noise)] : []),
      ...(shape ? [judge("corner", shape.cornerOverCentre, shape.cornerOverCentreSigma)] : []),
    ],
    measures: [
      ...(picture.isMaster ? [] : [{ name: "noise of a pixel", value: 100 * noise, unit: "%" } as const]),
      ...(shape
        ? [{ name: "gradient, peak to peak", value: 100 * shape.gradientPeakToPeak, unit: "%" } as const]
        : []),
      ...(shape?.hotSpot
        ? [{ name: "bright bump", value: 100 * shape.hotSpot.excess, unit: "%" } as const]
        : []),
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
    ],
  };
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

function noiseFindings(picture: Picture): Findings {
  const value = neighbourNoise(picture.values, usable(picture), picture.widthPx);
  return {
    figures: [],
    measures: value === undefined ? [] : [{ name: "noise from neighbours", value, unit: "adu" }],
  };
}

function maskFindings(picture: Picture): Findings {
  const value = picture.mask.reduce((count, bits) => count + (bits === 0 ? 0 : 1), 0);
  return { figures: [], measures: value === 0 ? [] : [{ name: "masked pixels", value, unit: "px" }] };
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
