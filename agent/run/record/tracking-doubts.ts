import type { ImagesFound } from "../../procedures/images/images-request.ts";
import { overlaps, type TimeSpan } from "../../procedures/time-span.ts";
import { rangeText } from "./flat-doubts.ts";
import { foundBy } from "./found-in-record.ts";
import type { LapseRecord, RunRecord, StepRecord } from "./run-record.ts";

/** What was exposed while the mount was not on the Sun, in sentences; empty where nothing was. */
export function trackingWarnings({ steps, lapses }: Pick<RunRecord, "steps" | "lapses">): string[] {
  return trackingLapses(lapses).flatMap((lapse) => {
    const hit = steps.flatMap((step) => whatWasExposed(step, lapse));
    return hit.length === 0 ? [] : [`${lapse.reason} (${timesText(lapse)}): ${hit.join("; ")}.`];
  });
}

/** Those in which the mount was not on the Sun, at any time of the span. */
export function trackingLapses(
  lapses: readonly LapseRecord[],
  within: TimeSpan = { fromUtcMs: Number.NEGATIVE_INFINITY },
): readonly LapseRecord[] {
  return lapses.filter((lapse) => lapse.watch === "tracking" && overlaps(lapse, within));
}

function whatWasExposed(step: StepRecord, lapse: LapseRecord): string[] {
  const images: Partial<ImagesFound> | undefined = foundBy(step, "images");
  if (images) {
    const { files = [], takenWithin = [] } = images;
    const hit = files.filter((_, index) => takenWithin[index] && overlaps(takenWithin[index], lapse));
    return hit.length === 0 ? [] : [`the Sun is not where it should be in ${rangeText(hit)}`];
  }
  if (step.kind !== "flat" || !overlaps({ fromUtcMs: step.startedUtcMs, toUtcMs: step.endedUtcMs }, lapse))
    return [];
  const { blur } = step.options as { blur?: string };
  return [
    blur === "diffuser"
      ? "the flat by diffuser does not depend on it"
      : `the flat by ${blur} was under way, and its light may have moved`,
  ];
}

function timesText({ fromUtcMs, toUtcMs }: LapseRecord): string {
  const clock = (utcMs: number) => new Date(utcMs).toISOString().slice(11, 19);
  return `${clock(fromUtcMs)} to ${toUtcMs === undefined ? "the end" : clock(toUtcMs)} UTC`;
}
