import * as Plot from "@observablehq/plot";
import { colours, drawChart } from "./chart.ts";

/**
 * How many pixels have which level, with the wanted upper edge marked.
 * @param counts pixels per bin; bin i covers [i, i + 1) / counts.length of full scale
 */
export function histogramChart(input: {
  counts: readonly number[];
  wantedEdgeFraction: number;
  upperEdgeFraction: number;
}): string {
  const bins = input.counts.length;
  const bars = input.counts.map((count, i) => ({ from: i / bins, to: (i + 1) / bins, count }));
  const highest = Math.max(1, ...input.counts);
  const marks: Plot.Markish[] = [
    Plot.rectY(
      bars.filter((bar) => bar.count > 0),
      { x1: "from", x2: "to", y: "count", fill: colours.measured, insetLeft: 0, insetRight: 0 },
    ),
    Plot.ruleX([input.wantedEdgeFraction], {
      stroke: colours.theory,
      strokeWidth: 1.5,
      strokeDasharray: "5 3",
    }),
    Plot.text([`wanted edge ${(input.wantedEdgeFraction * 100).toFixed(0)} %`], {
      x: input.wantedEdgeFraction,
      y: highest,
      dx: 4,
      dy: -8,
      textAnchor: "start",
      fill: colours.theory,
    }),
    Plot.ruleY([0]),
    Plot.ruleX([input.upperEdgeFraction], { stroke: colours.ink, strokeWidth: 1.5 }),
    Plot.text([`upper edge ${(input.upperEdgeFraction * 100).toFixed(1)} %`], {
      x: input.upperEdgeFraction,
      y: highest,
      dx: -4,
      dy: -8,
      textAnchor: "end",
    }),
  ];
  return drawChart({
    ariaLabel: "Histogram of the flat's frames",
    marginTop: 44,
    marginRight: 64,
    x: { domain: [0, 1], label: "level / full scale", tickFormat: (d: number) => `${Math.round(d * 100)} %` },
    y: { label: "pixels", tickFormat: "~s", domain: [0, highest] },
    marks,
  });
}
