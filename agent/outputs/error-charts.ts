import type { ErrorBudget, ScaleError } from "../imaging/proof/error-budget.ts";
import { rules } from "../imaging/proof/proof-figure.ts";
import { budgetChart } from "./charts/budget-chart.ts";
import { errorChart } from "./charts/curve-charts.ts";
import type { ReportChart } from "./report-page.ts";

/** How wrong a flat may be, by cause and by scale. @param contrast of an image of the day; none where there is none */
export function errorCharts(budget: ErrorBudget, contrast: readonly ScaleError[]): ReportChart[] {
  const unknown = budget.parts.filter(({ state }) => state === "not looked at").map(({ name }) => name);
  return [
    {
      title: "By cause",
      caption:
        "Full bars were measured; hollow ones are the most that could have stayed hidden. " +
        (unknown.length === 0
          ? "Nothing was left out."
          : `Nobody looked at: ${unknown.join(", ")}. What they do is not in the sum.`),
      svg: budgetChart(budget),
      wide: true,
    },
    {
      title: "By scale",
      caption:
        contrast.length === 0
          ? "All causes that were looked at, added up for details of every size."
          : "All causes that were looked at, added up for details of every size, beside what an image of the day differs by from one such block to the next: the Sun's own structure and the image's noise.",
      svg: errorChart(budget.sum, contrast, rules.grey.good[1]),
      wide: true,
    },
  ];
}
