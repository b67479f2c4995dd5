import * as Plot from "@observablehq/plot";
import { colours, drawChart } from "./chart.ts";

export interface TimeLineBar {
  readonly name: string;
  readonly startSeconds: number;
  readonly endSeconds: number;
  readonly ended: "completed" | "stopped" | "failed" | "unsafe";
}

const barColour = {
  completed: colours.good,
  stopped: colours.usable,
  failed: colours.bad,
  unsafe: colours.bad,
} as const;

/** One bar per step of the plan, from the start of the run. */
export function timeLineChart(bars: readonly TimeLineBar[]): string {
  const lastSeconds = Math.max(1, ...bars.map((bar) => bar.endSeconds));
  const inMinutes = lastSeconds > 300;
  const shown = (seconds: number) => (inMinutes ? seconds / 60 : seconds);
  const names = bars.map((bar, i) => `${i + 1}  ${bar.name}`);
  const rows = bars.map((bar, i) => ({
    name: names[i]!,
    from: shown(bar.startSeconds),
    to: shown(bar.endSeconds),
    colour: barColour[bar.ended],
    text: `${(bar.endSeconds - bar.startSeconds).toFixed(0)} s`,
  }));
  return drawChart({
    ariaLabel: "Time line of the run",
    width: 900,
    height: 60 + 26 * bars.length,
    marginLeft: 150,
    marginRight: 60,
    x: {
      label: inMinutes ? "minutes from the start" : "seconds from the start",
      domain: [0, shown(lastSeconds)],
      grid: true,
    },
    y: { domain: names, label: null },
    marks: [
      Plot.barX(rows, {
        y: "name",
        x1: "from",
        x2: "to",
        fill: "colour",
        insetTop: 3,
        insetBottom: 3,
        rx: 3,
      }),
      Plot.text(rows, { y: "name", x: "to", text: "text", textAnchor: "start", dx: 5 }),
    ],
  });
}
