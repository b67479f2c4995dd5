import { sunFromSite } from "../../sky/sun-from-site.ts";
import { defineStep } from "../run-step.ts";
import type { StepInput, Workbench } from "../step.ts";
import { StepError } from "../step-error.ts";

/** Exactly one of the two. */
export interface WaitAsk {
  readonly seconds?: number;
  readonly untilSunAltitudeDegrees?: number;
  readonly what?: string;
}

export interface WaitResult {
  readonly seconds: number;
  readonly sunAltitudeDegrees: number;
}

interface WaitWork {
  readonly bench: Workbench;
  readonly ask: WaitAsk;
  seconds: number;
  found: WaitResult | undefined;
}

const day = 86_400;
const lookEverySeconds = 60;
const tellEverySeconds = 15;

/** Waits for a time or for the Sun, and touches nothing. */
export const wait = defineStep<WaitAsk, WaitWork, WaitResult>({
  begin: ({ bench, ask }: StepInput<WaitAsk>) => ({ bench, ask, seconds: 0, found: undefined }),
  first: "reckoning",
  states: {
    reckoning: {
      does: async (work) => {
        work.seconds = secondsToWait(work);
      },
      next: "waiting",
    },
    waiting: { does: waitTold, next: "done" },
  },
  makeSafe: async () => {},
  found: (work) => work.found,
});

/** @throws StepError if the Sun does not reach the altitude within a day */
export function secondsToWait({ bench, ask }: Pick<WaitWork, "bench" | "ask">): number {
  const { untilSunAltitudeDegrees: wanted } = ask;
  if (wanted === undefined) return ask.seconds ?? 0;
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

async function waitTold(work: WaitWork, signal: AbortSignal): Promise<void> {
  const { bench, ask, seconds } = work;
  const what = ask.what ?? "waiting";
  const startedMs = bench.clock.nowMs();
  const passed = () => (bench.clock.nowMs() - startedMs) / 1000;
  bench.note("waiting", { seconds });
  while (passed() < seconds - 1e-3) {
    const left = seconds - passed();
    bench.progress({ what, done: Math.round(passed()), of: Math.round(seconds), secondsLeft: left });
    await bench.clock.sleep(Math.min(tellEverySeconds, left), signal);
  }
  const { altitudeDegrees } = sunFromSite(bench.clock.nowMs(), bench.site);
  work.found = { seconds: passed(), sunAltitudeDegrees: altitudeDegrees };
}
