import * as Plot from "@observablehq/plot";
import { colours, drawChart } from "./chart.ts";

const percent = (fraction: number) => 100 * fraction;

/** Noise of the master while frames were added, beside what photon and read noise allow. */
export function noiseChart(
  growth: readonly { readonly frames: number; readonly measured: number; readonly expected: number }[],
): string {
  const points = growth.map(({ frames, measured, expected }) => ({
    frames,
    measured: percent(measured),
    limit: percent(expected),
  }));
  return drawChart({
    ariaLabel: "Noise of the master against the number of frames",
    x: { type: "log", label: "frames", tickFormat: "~s", ticks: 6 },
    y: { type: "log", label: "noise, %", grid: true, tickFormat: "~g", ticks: 6 },
    marks: [
      ...theoryLine(points, { x: "frames", y: "limit" }, "photon and read noise", -2),
      Plot.dot(points, { x: "frames", y: "measured", fill: colours.measured, r: 3.5 }),
    ],
  });
}

/** What blur and its model have left of the Sun by the size of the blocks it is averaged over, and the flat's own noise. */
export function leftoverChart(
  leftover: readonly { readonly sidePx: number; readonly rms: number; readonly sigma: number }[],
  noise: number,
): string {
  const scales = leftover.map(({ sidePx, rms, sigma }) => ({
    sidePx,
    value: percent(rms),
    least: percent(Math.max(0, rms - sigma)),
    most: percent(rms + sigma),
  }));
  const bars = { x: "sidePx", y1: "least", y2: "most", stroke: colours.measured };
  const good = `noise of a pixel of the flat ${percent(noise).toFixed(3)} %`;
  return drawBlockChart("What blur has left of the Sun, by spatial scale", "rms, %", scales, [
    Plot.ruleX(scales, bars),
    ...goodLine(percent(noise), good),
  ]);
}

/** What is left in an independent frame divided by the master, by the size of the blocks it is averaged over. */
export function greyChart(
  grey: readonly { readonly sidePx: number; readonly excess: number; readonly excessSigma: number }[],
  goodLimit: number,
): string {
  const scales = grey.map(({ sidePx, excess, excessSigma }) => ({
    sidePx,
    value: percent(excess),
    hidden: percent(excessSigma),
  }));
  return drawBlockChart("Leftover structure by spatial scale", "leftover, %", scales, [
    ...goodLine(percent(goodLimit), `limit for good ${percent(goodLimit).toFixed(1)} %`),
    ...theoryLine(scales, { x: "sidePx", y: "hidden" }, "could stay hidden in noise", -12),
  ]);
}

/** The flat's error by the size of the blocks it is averaged over, and what an image of the day shows at that size. */
export function errorChart(
  sum: readonly { readonly sidePx: number; readonly rms: number }[],
  contrast: readonly { readonly sidePx: number; readonly rms: number }[],
  goodLimit: number,
): string {
  const inPercent = ({ sidePx, rms }: (typeof sum)[number]) => ({ sidePx, value: percent(rms) });
  const scales = sum.map(inPercent);
  const image = contrast.map(inPercent);
  return drawChart({
    ariaLabel: "Error of the flat and structure of an image, by spatial scale",
    width: 900,
    height: 260,
    marginRight: 150,
    x: {
      type: "log",
      base: 2,
      label: "averaged over blocks of so many px",
      ticks: scales.map(({ sidePx }) => sidePx),
      tickFormat: "d",
    },
    y: { type: "log", label: "%", grid: true, tickFormat: "~g", ticks: 5 },
    marks: [
      ...goodLine(percent(goodLimit), `limit for good ${percent(goodLimit).toFixed(1)} %`),
      ...namedLine(image, "what an image shows", colours.theory),
      ...namedLine(scales, "error of the flat", colours.measured),
    ],
  });
}

function namedLine(
  points: readonly { readonly sidePx: number; readonly value: number }[],
  name: string,
  stroke: string,
): Plot.Markish[] {
  const last = points.slice(-1);
  return [
    Plot.lineY(points, { x: "sidePx", y: "value", stroke, strokeWidth: 2 }),
    Plot.dot(points, { x: "sidePx", y: "value", fill: stroke, r: 3 }),
    Plot.text(last, { x: "sidePx", y: "value", text: () => name, textAnchor: "start", dx: 8, fill: stroke }),
  ];
}

/** Level of the flat against distance from its centre, with the scatter of each ring as a band. */
export function radialChart(
  rings: readonly { readonly radiusPx: number; readonly median: number; readonly sigma: number }[],
): string {
  const bands = rings.map((ring) => ({
    ...ring,
    least: ring.median - ring.sigma,
    most: ring.median + ring.sigma,
  }));
  return drawChart({
    ariaLabel: "Radial profile of the flat",
    x: { label: "distance from the brightness centre, px" },
    y: { label: "level (mean 1)", grid: true, nice: true },
    marks: [
      Plot.areaY(bands, { x: "radiusPx", y1: "least", y2: "most", fill: colours.band }),
      Plot.lineY(bands, { x: "radiusPx", y: "median", stroke: colours.measured, strokeWidth: 2 }),
    ],
  });
}

/** A measured figure by the size of blocks, with other marks below it. */
function drawBlockChart(
  ariaLabel: string,
  label: string,
  scales: readonly { readonly sidePx: number; readonly value: number }[],
  marks: readonly Plot.Markish[],
): string {
  const line = { x: "sidePx", y: "value", stroke: colours.measured, strokeWidth: 2, marker: "dot" } as const;
  const ticks = scales.map((scale) => scale.sidePx);
  return drawChart({
    ariaLabel,
    marginTop: 28,
    x: { type: "log", base: 2, label: "block size, px", tickFormat: "d", ticks },
    y: { label, grid: true, nice: true, zero: true },
    marks: [...marks, Plot.lineY(scales, line)],
  });
}

/** A line that good figures stay below, with what it is. @param at on the y axis, in its own unit */
function goodLine(at: number, text: string): Plot.Markish[] {
  return [
    Plot.ruleY([at], { stroke: colours.good }),
    Plot.text([text], { frameAnchor: "right", y: at, dy: -7, fill: colours.good }),
  ];
}

/** What theory says, dashed, and its name at the first point. */
function theoryLine<Row>(
  rows: readonly Row[],
  channels: { readonly x: keyof Row & string; readonly y: keyof Row & string },
  text: string,
  dy: number,
): Plot.Markish[] {
  const label = { text: () => text, textAnchor: "start", dx: 14, dy, fill: colours.theory } as const;
  return [
    Plot.lineY(rows, { ...channels, stroke: colours.theory, strokeDasharray: "5 3" }),
    Plot.text(rows.slice(0, 1), { ...channels, ...label }),
  ];
}
