import type { Card } from "../../drivers/formats/fits-card.ts";
import { type ErrorBudget, largestError } from "../imaging/proof/error-budget.ts";

/** Scales whose sums stand as keywords. */
const keywordSidesPx = [1, 8, 32, 128] as const;

/** How wrong a flat may be, for its header: sums by scale, and every cause with how it is known. */
export function budgetCards({ parts, sum }: ErrorBudget): Card[] {
  return [
    ...sum
      .filter(({ sidePx }) => keywordSidesPx.some((px) => px === sidePx))
      .map(({ sidePx, rms }) => ({
        keyword: `ERR${sidePx}PX`,
        value: Number(rms.toPrecision(4)),
        comment: `rms error of ${sidePx} px blocks, known causes`,
      })),
    ...parts.map(({ name, state, scales }) => {
      const largest = largestError(scales);
      const value = largest === undefined ? state : `${(100 * largest).toPrecision(2)} % (${state})`;
      return { keyword: "COMMENT", value: `error by ${name}: ${value}` };
    }),
  ];
}
