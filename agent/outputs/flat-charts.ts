import { codesPerBin } from "../imaging/exposure/level-histogram.ts";
import type { FlatFound } from "../procedures/flat/flat-request.ts";
import { greyChart, leftoverChart, noiseChart, radialChart } from "./charts/curve-charts.ts";
import { histogramChart } from "./charts/histogram-chart.ts";
import type { ReportChart } from "./report-page.ts";

const histogramBins = 200;

/** The charts of a proved flat. @param sampleAdu one frame of the series as the camera gave it, if it is at hand */
export function flatCharts(
  found: FlatFound,
  wantedEdgeFraction: number,
  sampleAdu: Uint16Array | undefined,
): ReportChart[] {
  const { proof, upperEdge, topAdu } = found;
  const greyLimit = proof.figures.find((figure) => figure.id === "grey")?.good[1] ?? 0.002;
  return [
    ...(sampleAdu
      ? [
          {
            title: "Levels of one flat frame",
            caption:
              "The upper edge is the level that only the brightest 0.1 % of lit, healthy pixels exceed. Full scale is the highest code of the converter.",
            svg: histogramChart({
              counts: codesPerBin(sampleAdu, { topAdu, bins: histogramBins }),
              wantedEdgeFraction,
              upperEdgeFraction: upperEdge.median,
            }),
          },
        ]
      : []),
    // A flat that is solved from all frames at once has no noise on the way, only at its end.
    ...(proof.growth.length > 1
      ? [
          {
            title: "Noise of the master",
            caption:
              "Measured between even and odd frames while they came in, beside what a single frame's noise promises.",
            svg: noiseChart(proof.growth),
          },
        ]
      : []),
    ...(found.defocus
      ? [
          {
            title: "What blur left of the Sun",
            caption:
              "Structure that moves with the Sun and is not in the model of its light that was divided out; a good flat keeps it below its own noise.",
            svg: leftoverChart(found.defocus.leftover, found.defocus.noise),
          },
        ]
      : []),
    {
      title: "Does it turn grey?",
      caption: `${proof.greyFrames} frames that are not in the master, divided by it, averaged over blocks: what is left beyond noise.`,
      svg: greyChart(proof.grey, greyLimit),
    },
    {
      title: "Radial profile",
      caption: "Median of rings about the centre of the light; the band is the scatter within each ring.",
      svg: radialChart(proof.radial.rings),
    },
  ];
}
