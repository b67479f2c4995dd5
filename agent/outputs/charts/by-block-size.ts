import * as Plot from "@observablehq/plot";
import { colours } from "./chart.ts";

/** What charts of a figure by the size of blocks have in common. @param sidesPx the sizes */
export function byBlockSize(sidesPx: readonly number[]) {
  return {
    marginTop: 28,
    x: { type: "log", base: 2, label: "block size, px", tickFormat: "d", ticks: sidesPx },
  } as const;
}

/** A line that good figures stay below, with what it is. @param at on the y axis, in its own unit */
export function goodLine(at: number, text: string) {
  return [
    Plot.ruleY([at], { stroke: colours.good }),
    Plot.text([text], { frameAnchor: "right", y: at, dy: -7, fill: colours.good }),
  ];
}
