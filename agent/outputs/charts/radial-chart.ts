import * as Plot from "@observablehq/plot";
import { colours, drawChart } from "./chart.ts";

/** Level of the flat against distance from its centre, with the scatter of each ring as a band. */
export function radialChart(
  rings: readonly { readonly radiusPx: number; readonly median: number; readonly scatter: number }[],
): string {
  return drawChart({
    ariaLabel: "Radial profile of the flat",
    x: { label: "distance from the brightness centre, px" },
    y: { label: "level (mean 1)", grid: true, nice: true },
    marks: [
      Plot.areaY(rings, {
        x: "radiusPx",
        y1: (ring: { median: number; scatter: number }) => ring.median - ring.scatter,
        y2: (ring: { median: number; scatter: number }) => ring.median + ring.scatter,
        fill: colours.band,
      }),
      Plot.lineY(rings, { x: "radiusPx", y: "median", stroke: colours.measured, strokeWidth: 2 }),
    ],
  });
}
