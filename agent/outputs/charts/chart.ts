import * as Plot from "@observablehq/plot";
import { parseHTML } from "linkedom";

/** The report's colours: ink on paper, the Sun's amber for what was measured, slate for what theory says. */
export const colours = {
  ink: "#1d2733",
  faint: "#8a94a0",
  measured: "#c8741a",
  theory: "#44617b",
  good: "#2f7d5b",
  usable: "#b07d12",
  bad: "#b23a3a",
  band: "#eadcc8",
} as const;

const { document } = parseHTML("<!doctype html><html><body></body></html>");

/** Draws one chart as a self-contained SVG text that fits the width it is given. */
export function drawChart(options: Plot.PlotOptions): string {
  const width = options.width ?? 500;
  const height = options.height ?? 280;
  const element = Plot.plot({
    document,
    width,
    height,
    marginLeft: 60,
    marginBottom: 42,
    marginRight: 24,
    style: { fontFamily: "inherit", fontSize: "12px", color: colours.ink, background: "none" },
    ...options,
  });
  const svg = element.tagName.toLowerCase() === "svg" ? element : element.querySelector("svg");
  if (!svg) throw new Error("the chart library returned no drawing");
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.removeAttribute("width");
  svg.removeAttribute("height");
  svg.setAttribute("xmlns", "http://www.w3.org/2000/svg");
  svg.setAttribute("role", "img");
  return svg.outerHTML;
}
