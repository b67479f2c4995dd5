import type { Inspection } from "../files/inspect/inspect-file.ts";
import type { PlainFigure } from "../files/inspect/inspected-picture.ts";
import { type Picture, readAsFlat } from "../files/inspect/inspected-picture.ts";
import type { Flat } from "../imaging/combining/normalise-flat.ts";
import { codesPerBin } from "../imaging/exposure/level-histogram.ts";
import { mapInto } from "../imaging/numerics/map-into.ts";
import { describeVerdict } from "../imaging/proof/proof-figure.ts";
import { radialChart } from "./charts/curve-charts.ts";
import { histogramChart } from "./charts/histogram-chart.ts";
import { beforeAfterPictures } from "./pictures/before-after.ts";
import { flatPicture } from "./pictures/flat-picture.ts";
import { leftoverPicture, maskPicture, sigmaPicture } from "./pictures/map-pictures.ts";
import { greyPng, shrink } from "./pictures/shrink.ts";
import { proofRows } from "./proof-rows.ts";
import { type ReportChart, type ReportPicture, reportPage } from "./report-page.ts";
import { percentileRange } from "./stretch.ts";
import { sigmaTexts } from "./with-sigma.ts";

/** A frame that a flat is shown on, its dark level known. */
export interface ShownFrame {
  readonly name: string;
  /** An image is shown before and after the division; of a frame of even light what the division leaves. */
  readonly kind: "image" | "flat";
  readonly pixelsAdu: Uint16Array;
  readonly darkAdu: Float32Array;
}

export interface ShownInspection {
  readonly inspection: Inspection;
  readonly picture: Picture;
  readonly frame?: ShownFrame | undefined;
}

/** Any file as a page: its figures with the pictures and charts that a run's report has of them. */
export function inspectionPage({ inspection, picture, frame }: ShownInspection): string {
  const { file, kind, frameCount, verdict, figures, measures, reasons, flatDetails } = inspection;
  const shown =
    frameCount > 1
      ? `a ${kind} of ${frameCount} frames`
      : `one ${kind === "image" ? "image" : `${kind} frame`}`;
  return reportPage({
    title: file.replace(/^.*[\\/]/, ""),
    verdict,
    summary: `${shown[0]!.toUpperCase()}${shown.slice(1)}: ${describeVerdict(verdict, figures)}.`,
    facts: [
      ["Size", `${picture.widthPx} × ${picture.heightPx} px, ${inspection.type}`],
      ...headerFacts(picture),
      ...measures.map((measure) => [measure.name, measureText(measure)] as const),
    ],
    reasons,
    figures: proofRows(figures),
    pictures: picturesOf({ inspection, picture, frame }),
    errors: [],
    charts: chartsOf(inspection, picture),
    dust: flatDetails?.dust ?? [],
    notes: [],
    settings: [],
  });
}

/** The first picture of the page alone, PNG. */
export function inspectionPicture(shown: ShownInspection): Uint8Array {
  return picturesOf({ ...shown, frame: undefined })[0]!.png;
}

function headerFacts({ header }: Picture): (readonly [string, string])[] {
  const number = (keyword: string, unit: string) => {
    const value = header.number(keyword);
    return value === undefined ? undefined : `${Number(value.toPrecision(5))}${unit}`;
  };
  const facts: readonly (readonly [string, string | undefined])[] = [
    ["Taken", header.text("DATE-OBS")],
    ["Camera", header.text("INSTRUME")],
    ["Exposure", number("EXPTIME", " s")],
    ["Gain", number("GAIN", "")],
    ["Offset", number("OFFSET", "")],
    ["Binning", number("XBINNING", "")],
    ["Sensor", number("CCD-TEMP", " °C")],
    ["Filter", header.text("FILTER")],
  ];
  return facts.flatMap(([name, value]) => (value === undefined ? [] : [[name, value] as const]));
}

function measureText({ value, sigma, unit }: PlainFigure): string {
  const [shown, uncertain] = sigmaTexts(value, sigma);
  return `${shown}${uncertain === undefined ? "" : ` ± ${uncertain}`}${unit === "" ? "" : ` ${unit}`}`;
}

function picturesOf({ inspection, picture, frame }: ShownInspection): ReportPicture[] {
  const flat = inspection.kind === "flat" ? readAsFlat(picture) : undefined;
  if (flat === undefined) return [plainPicture(inspection, picture)];
  const dust = inspection.flatDetails?.dust ?? [];
  const maps = [
    picture.sigma ? sigmaPicture(flat) : undefined,
    picture.hasMask ? maskPicture(flat) : undefined,
  ];
  const marked = flatPicture({ ...flat.shape, gain: flat.gain, mask: flat.mask, dust });
  return [
    { ...marked, title: picture.isMaster ? "The master flat" : "The flat frame" },
    ...(frame ? framePictures(flat, frame, dust) : []),
    ...maps.filter((one) => one !== undefined),
  ];
}

function framePictures(
  flat: Flat,
  { name, kind, pixelsAdu, darkAdu }: ShownFrame,
  dust: Parameters<typeof beforeAfterPictures>[0]["dust"],
): ReportPicture[] {
  if (kind === "flat") {
    const left = leftoverPicture(
      flat,
      mapInto(new Float32Array(pixelsAdu.length), pixelsAdu, (value, i) => value - darkAdu[i]!),
    );
    return left ? [{ ...left, caption: `${left.caption} The frame is ${name}.` }] : [];
  }
  const { before, after, detail = [] } = beforeAfterPictures({ imageAdu: pixelsAdu, darkAdu, flat, dust });
  return [{ ...before, caption: `${name}. ${before.caption}` }, after, ...detail];
}

const shownWidthPx = 1280;

function plainPicture({ kind }: Inspection, { widthPx, heightPx, values, mask }: Picture): ReportPicture {
  const small = shrink({ widthPx, heightPx, pixels: values }, shownWidthPx, mask);
  const range = percentileRange(small.pixels) ?? { black: 0, white: 1 };
  const text = (value: number) => String(Number(value.toPrecision(4)));
  return {
    wide: true,
    title: `The ${kind}`,
    caption: "One pixel in a thousand is beyond black and white each.",
    png: greyPng(small, range),
    greys: { black: text(range.black), white: text(range.white) },
  };
}

const bins = 200;

function chartsOf({ figures, flatDetails }: Inspection, { pixels }: Picture): ReportChart[] {
  const edge = figures.find(({ id }) => id === "upperEdge")?.value;
  const rings = flatDetails?.radial.rings ?? [];
  return [
    ...(pixels instanceof Uint16Array && edge !== undefined
      ? [
          {
            title: "Levels",
            caption: "The upper edge is the level that only the brightest 0.1 % of lit pixels exceed.",
            svg: histogramChart({
              counts: codesPerBin(pixels, { topAdu: 65_535, bins }),
              wantedEdgeFraction: 0.85,
              upperEdgeFraction: edge,
            }),
          },
        ]
      : []),
    ...(rings.length > 1
      ? [
          {
            title: "Radial profile",
            caption:
              "Median of rings about the centre of the light; the band is the scatter within each ring.",
            svg: radialChart(rings),
          },
        ]
      : []),
  ];
}
