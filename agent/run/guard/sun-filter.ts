import { dayOrTimeUtcMs } from "../../../plans/fields.ts";
import type { SunFilterStatement } from "../../../plans/rig-file.ts";
import type { RetreatRecord } from "../record/run-record.ts";
import { formatUtcMinute } from "../record/utc-minute.ts";

const dayMs = 86_400_000;

/** @returns why the statement does not hold at that time, `undefined` when it does */
export function filterProblem(statement: SunFilterStatement, utcMs: number): string | undefined {
  const confirmedMs = dayOrTimeUtcMs(statement.lastConfirmed);
  const ageDays = Math.floor((utcMs - confirmedMs) / dayMs);
  // A day of grace for a day, because it was written down in the observer's own time zone.
  if (ageDays < (statement.lastConfirmed.includes("T") ? 0 : -1))
    return `the Sun filter was last confirmed on ${statement.lastConfirmed}, which is in the future`;
  if (ageDays <= statement.confirmAgainAfterDays) return undefined;
  return (
    `the Sun filter was last confirmed on ${statement.lastConfirmed}, ${ageDays} days ago; ` +
    `it has to be confirmed again after ${statement.confirmAgainAfterDays} days`
  );
}

/** How old a statement is that holds. */
export function filterStatement(
  { lastConfirmed, confirmAgainAfterDays }: SunFilterStatement,
  utcMs: number,
): string {
  const ageDays = Math.max(0, Math.floor((utcMs - dayOrTimeUtcMs(lastConfirmed)) / dayMs));
  const left = confirmAgainAfterDays - ageDays;
  return `the Sun filter was last confirmed on ${lastConfirmed}, ${ageDays} days ago; again within ${left} days`;
}

/** A rig that has seen far too much light, and whose filter nobody has looked at since: what it is told as. */
export function tripProblem({ utcMs, reason }: RetreatRecord): string {
  return `a run retreated at ${formatUtcMinute(utcMs)}, because ${reason}, and nobody has confirmed the Sun filter since`;
}

/** What to do before such a rig may be uncovered again. */
export function confirmAfterTrip({ utcMs }: RetreatRecord): string {
  return (
    "Inspect the filter on the covered telescope, turned away from the Sun; then write into `lastConfirmed` of the rig file " +
    `when that was: a day after ${formatUtcMinute(utcMs).slice(0, 10)}, or a time after ${formatUtcMinute(utcMs)} in this form.`
  );
}
