import * as Plot from "@observablehq/plot";
import { type ErrorBudget, largestError } from "../../imaging/proof/error-budget.ts";
import { rules } from "../../imaging/proof/proof-figure.ts";
import { colours, drawChart } from "./chart.ts";

/** What is smaller or larger is drawn at the edge [%]. */
const [leastPercent, mostPercent] = [0.002, 5];
const [seenPercent, showsPercent] = [100 * rules.grey.good[1], 100 * rules.grey.usable[1]];
const zones = [
  { from: leastPercent, to: seenPercent, colour: "#e3efe6", text: "nobody will see it" },
  { from: seenPercent, to: showsPercent, colour: "#f6ecd0", text: "just seen" },
  { from: showsPercent, to: mostPercent, colour: "#f4dcd8", text: "spoils images" },
];
const sumName = "all that is known together";

interface Row {
  readonly name: string;
  readonly state: "measured" | "bounded" | "not looked at" | "sum";
  readonly end: number;
  readonly text: string;
}

/**
 * How wrong the flat may be: one bar a cause, as long as its error, on ground that says what an error of that size does.
 * Full bars were measured, hollow ones could hide so much, and a dotted line is what nobody looked at.
 */
export function budgetChart({ parts, sum }: ErrorBudget): string {
  const rows: Row[] = [
    ...parts.map(({ name, state, scales }) => rowOf(name, state, largestError(scales))),
    sumRow(parts, largestError(sum)),
  ];
  const names = rows.map(({ name }) => name);
  const known = rows.filter(({ state }) => state !== "not looked at");
  const unknown = rows.filter(({ state }) => state === "not looked at");
  const bar = { y: "name", x1: () => leastPercent, x2: "end", insetTop: 5, insetBottom: 5, rx: 2 };
  return drawChart({
    ariaLabel: "How wrong the flat may be, by cause",
    width: 900,
    height: 74 + 30 * rows.length,
    marginLeft: 190,
    marginTop: 26,
    x: {
      type: "log",
      domain: [leastPercent, mostPercent],
      ticks: [0.01, 0.1, 1],
      tickFormat: (percent: number) => `${percent} %`,
      label: "error of the flat at its worst scale",
    },
    y: { domain: names, label: null, tickSize: 0 },
    marks: [
      Plot.rect(zones, { x1: "from", x2: "to", fill: "colour" }),
      Plot.text(zones, {
        x: ({ from, to }: (typeof zones)[number]) => Math.sqrt(from * to),
        text: "text",
        frameAnchor: "top",
        dy: -10,
        fill: colours.faint,
      }),
      Plot.barX(
        known.filter(({ state }) => state === "measured"),
        { ...bar, fill: colours.measured },
      ),
      Plot.barX(
        known.filter(({ state }) => state === "bounded"),
        { ...bar, fill: "#fffdf9", stroke: colours.measured, strokeDasharray: "3,2" },
      ),
      Plot.barX(
        known.filter(({ state }) => state === "sum"),
        { ...bar, insetTop: 2, insetBottom: 2, fill: colours.ink },
      ),
      ...(["normal", "bold"] as const).map((fontWeight) =>
        Plot.text(
          known.filter(({ state }) => (state === "sum") === (fontWeight === "bold")),
          { y: "name", x: "end", text: "text", textAnchor: "start", dx: 6, fontWeight },
        ),
      ),
      Plot.ruleY(unknown, {
        y: "name",
        x1: leastPercent,
        x2: mostPercent,
        stroke: colours.faint,
        strokeWidth: 2,
        strokeDasharray: "1,6",
      }),
      Plot.text(unknown, {
        y: "name",
        x: () => Math.sqrt(leastPercent * seenPercent),
        text: () => "?  nobody looked",
        fill: colours.bad,
        stroke: "#fffdf9",
        strokeWidth: 6,
        fontWeight: "bold",
      }),
    ],
  });
}

/** A sum that leaves something out says so. */
function sumRow(parts: ErrorBudget["parts"], largest: number | undefined): Row {
  const row = rowOf(sumName, "sum", largest);
  const isWhole = parts.every(({ state }) => state !== "not looked at");
  return isWhole ? row : { ...row, text: `${row.text} + ?` };
}

function rowOf(name: string, state: Row["state"], largest: number | undefined): Row {
  const percent = 100 * (largest ?? 0);
  const size =
    percent < 0.001 ? "less than 0.001 %" : `${Number(percent.toPrecision(percent < 0.01 ? 1 : 2))} %`;
  return {
    name,
    state,
    end: Math.min(mostPercent, Math.max(1.05 * leastPercent, percent)),
    text: state === "bounded" && percent >= 0.001 ? `at most ${size}` : size,
  };
}
