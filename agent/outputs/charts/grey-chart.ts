import * as Plot from "@observablehq/plot";
import { byBlockSize, goodLine } from "./by-block-size.ts";
import { colours, drawChart } from "./chart.ts";

/** What is left in an independent frame divided by the master, by the size of the blocks it is averaged over. */
export function greyChart(input: {
  readonly scales: readonly { readonly blockPx: number; readonly excess: number; readonly hidden: number }[];
  readonly goodLimit: number;
}): string {
  const percent = (fraction: number) => fraction * 100;
  const { scales, goodLimit } = input;
  return drawChart({
    ariaLabel: "Leftover structure by spatial scale",
    ...byBlockSize(scales.map((scale) => scale.blockPx)),
    y: { label: "leftover, %", grid: true, nice: true, zero: true },
    marks: [
      Plot.lineY(scales, {
        x: "blockPx",
        y: (s: { hidden: number }) => percent(s.hidden),
        stroke: colours.theory,
        strokeDasharray: "5 3",
      }),
      Plot.lineY(scales, {
        x: "blockPx",
        y: (s: { excess: number }) => percent(s.excess),
        stroke: colours.measured,
        strokeWidth: 2,
        marker: "dot",
      }),
      ...goodLine(percent(goodLimit), `limit for good ${percent(goodLimit).toFixed(1)} %`),
      Plot.text(scales.slice(0, 1), {
        x: "blockPx",
        y: (s: { hidden: number }) => percent(s.hidden),
        text: () => "could stay hidden in noise",
        textAnchor: "start",
        dx: 14,
        dy: -12,
        fill: colours.theory,
      }),
    ],
  });
}
