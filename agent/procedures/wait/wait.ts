import { startStopwatch } from "../../../drivers/kit/stopwatch.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import { defineStep } from "../run-step.ts";
import type { StepWork } from "../step.ts";
import { StepError } from "../step-error.ts";

/** Exactly one of the two. */
export interface WaitRequest {
  readonly seconds?: number;
  readonly untilSunAltitudeDegrees?: number;
  readonly what?: string;
}

export interface WaitResult {
  readonly seconds: number;
  readonly sunAltitudeDegrees: number;
}

type WaitWork = StepWork<WaitRequest, WaitResult>;

const day = 86_400;
const lookEverySeconds = 60;
const reportEverySeconds = 15;

/** Waits for a time or for the Sun, and touches nothing. */
export const wait = defineStep<WaitRequest, WaitResult>({
  begin: (input) => ({ ...input }),
  first: "waiting",
  states: { waiting: { does: sleepAndReport, next: "done" } },
  makeSafe: async () => {},
});

/** @throws StepError if the Sun does not reach the altitude within a day */
function secondsToWait({ bench, request }: WaitWork): number {
  const { untilSunAltitudeDegrees: wanted } = request;
  if (wanted === undefined) return request.seconds ?? 0;
  const altitudeAfter = (seconds: number) =>
    sunFromSite(bench.clock.nowMs() + seconds * 1000, bench.site).altitudeDegrees;
  let highest = -90;
  for (let after = 0; after <= day; after += lookEverySeconds) {
    const altitude = altitudeAfter(after);
    if (altitude >= wanted) return after;
    highest = Math.max(highest, altitude);
  }
  throw new StepError(
    "SUN_NEVER_THERE",
    `within a day the Sun rises to ${highest.toFixed(1)}° at most, not to ${wanted}°`,
    "Lower `untilSunAltitudeDegrees` in the plan.",
  );
}

async function sleepAndReport(work: WaitWork, signal: AbortSignal): Promise<void> {
  const { bench, request } = work;
  const seconds = secondsToWait(work);
  const what = request.what ?? "waiting";
  const passed = startStopwatch(bench.clock);
  bench.note("waiting", { seconds });
  while (passed() < seconds - 1e-3) {
    const left = seconds - passed();
    bench.progress({ what, done: Math.round(passed()), of: Math.round(seconds), secondsLeft: left });
    await bench.clock.sleep(Math.min(reportEverySeconds, left), signal);
  }
  const { altitudeDegrees } = sunFromSite(bench.clock.nowMs(), bench.site);
  work.result = { seconds: passed(), sunAltitudeDegrees: altitudeDegrees };
}
