import * as Plot from "@observablehq/plot";
import { colours, drawChart } from "./chart.ts";

/** Noise of the master while frames were added, beside what photon and read noise allow. Fractions, not percent. */
export function noiseChart(
  points: readonly { readonly frames: number; readonly measured: number; readonly limit: number }[],
): string {
  const percent = (fraction: number) => fraction * 100;
  return drawChart({
    ariaLabel: "Noise of the master against the number of frames",
    x: { type: "log", label: "frames", tickFormat: "~s", ticks: 6 },
    y: { type: "log", label: "noise, %", grid: true, tickFormat: "~g", ticks: 6 },
    marks: [
      Plot.lineY(points, {
        x: "frames",
        y: (p: { limit: number }) => percent(p.limit),
        stroke: colours.theory,
        strokeDasharray: "5 3",
      }),
      Plot.dot(points, {
        x: "frames",
        y: (p: { measured: number }) => percent(p.measured),
        fill: colours.measured,
        r: 3.5,
      }),
      Plot.text(points.slice(0, 1), {
        x: "frames",
        y: (p: { limit: number }) => percent(p.limit),
        text: () => "photon and read noise",
        textAnchor: "start",
        dx: 14,
        dy: -2,
        fill: colours.theory,
      }),
    ],
  });
}
