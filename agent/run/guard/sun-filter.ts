import type { SunFilterStatement } from "../../../plans/rig-file.ts";

const dayMs = 86_400_000;

/** The usual cautions, said wherever a person could be at the instrument. */
export const solarCautions =
  "Never look through the telescope, an eyepiece or an uncapped finder while it is driven near the Sun. " +
  "Inspect the Sun filter for holes, scratches and a firm seat first; its maker's guidance and the rules at the site come before ours.";

/** @returns why the statement does not hold on that day, `undefined` when it does */
export function filterProblem(statement: SunFilterStatement, utcMs: number): string | undefined {
  const confirmedMs = Date.parse(`${statement.lastConfirmed}T00:00:00Z`);
  const ageDays = Math.floor((utcMs - confirmedMs) / dayMs);
  // A day of grace, because the day was written down in the observer's own time zone.
  if (ageDays < -1)
    return `the Sun filter was last confirmed on ${statement.lastConfirmed}, which is in the future`;
  if (ageDays <= statement.confirmAgainAfterDays) return undefined;
  return (
    `the Sun filter was last confirmed on ${statement.lastConfirmed}, ${ageDays} days ago; ` +
    `it has to be confirmed again after ${statement.confirmAgainAfterDays} days`
  );
}
