import * as Plot from "@observablehq/plot";
import { byBlockSize, goodLine } from "./by-block-size.ts";
import { colours, drawChart } from "./chart.ts";

/** What blur and its model have left of the Sun by the size of the blocks it is averaged over, and the flat's own noise. */
export function leftoverChart(input: {
  readonly scales: readonly { readonly sidePx: number; readonly rms: number; readonly sigma: number }[];
  readonly noise: number;
}): string {
  const percent = (fraction: number) => fraction * 100;
  const { scales, noise } = input;
  return drawChart({
    ariaLabel: "What blur has left of the Sun, by spatial scale",
    ...byBlockSize(scales.map((scale) => scale.sidePx)),
    y: { label: "rms, %", grid: true, nice: true, zero: true },
    marks: [
      Plot.ruleX(scales, {
        x: "sidePx",
        y1: (s: { rms: number; sigma: number }) => percent(Math.max(0, s.rms - s.sigma)),
        y2: (s: { rms: number; sigma: number }) => percent(s.rms + s.sigma),
        stroke: colours.measured,
      }),
      Plot.lineY(scales, {
        x: "sidePx",
        y: (s: { rms: number }) => percent(s.rms),
        stroke: colours.measured,
        strokeWidth: 2,
        marker: "dot",
      }),
      ...goodLine(percent(noise), `noise of a pixel of the flat ${percent(noise).toFixed(3)} %`),
    ],
  });
}
