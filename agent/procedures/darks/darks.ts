import { given } from "../../../drivers/kit/given.ts";
import { coverFront } from "../../safing/cover-front.ts";
import { setFlatGain } from "../camera-ready.ts";
import { DarkSeries } from "../dark-master.ts";
import { recycleFrames, takeSeries } from "../frame-series.ts";
import { leaveRigIdle } from "../leave-rig.ts";
import { defineStep } from "../run-step.ts";
import type { StepWork } from "../step.ts";
import { StepError } from "../step-error.ts";
import { pointOffSun } from "../sun-pointing.ts";

export interface DarksRequest {
  readonly frames: number;
  /** Left out: that of the flat, as it was tuned or checked for leaks. */
  readonly exposureSeconds?: number;
}

export interface DarksFound {
  readonly file: string;
  readonly frameCount: number;
  readonly exposureSeconds: number;
  readonly unhealthyPx: number;
  readonly sensorCelsius?: number;
}

interface DarksWork extends StepWork<DarksRequest, DarksFound> {
  readonly series: DarkSeries;
  exposureSeconds: number;
}

/**
 * Dark frames that match a flat: same exposure, gain, offset and temperature. Covered, and pointed at least 30 degrees
 * off the Sun: light that leaks in past the cover would otherwise be taken off the flat as if it were dark current.
 */
export const darks = defineStep<DarksRequest, DarksFound, DarksWork>({
  begin: (input) => ({ ...input, series: new DarkSeries(input.request.frames), exposureSeconds: 0 }),
  first: "checking",
  states: {
    checking: { does: knowExposure, next: "covering" },
    covering: {
      does: ({ bench }, signal) => coverFront(bench, signal),
      next: "leavingSun",
    },
    leavingSun: { does: ({ bench }, signal) => pointOffSun(bench, signal), next: "settingUp" },
    settingUp: { does: ({ bench }, signal) => setFlatGain(bench, signal), next: "exposing" },
    exposing: { does: expose, next: "keeping" },
    keeping: { does: saveDark, next: "done" },
  },
  makeSafe: ({ bench }, _ended, signal) => leaveRigIdle(bench, "closed", signal),
});

/** @throws StepError when nothing says how long the flat is exposed */
async function knowExposure(work: DarksWork): Promise<void> {
  const { bench, request } = work;
  const seconds = request.exposureSeconds ?? bench.findings.leak?.exposureSeconds;
  if (seconds === undefined)
    throw new StepError(
      "DARK_EXPOSURE_UNKNOWN",
      "nothing says yet how long the flat will be exposed",
      "Give the darks an `exposureSeconds`, or put them after the leak check.",
    );
  work.exposureSeconds = seconds;
}

async function expose(
  { bench, request, series, exposureSeconds }: DarksWork,
  signal: AbortSignal,
): Promise<void> {
  await takeSeries(
    bench,
    { what: "darks", exposureSeconds, frameType: "dark", frameCount: request.frames },
    (frame) => {
      const counted = series.add(frame);
      recycleFrames(bench, series.released());
      return counted;
    },
    signal,
  );
}

async function saveDark(work: DarksWork): Promise<void> {
  const { bench, series } = work;
  const dark = series.finish(bench);
  work.result = {
    file: bench.findings.darkMaster!.file,
    frameCount: dark.frameCount,
    exposureSeconds: bench.findings.darkMaster!.exposureSeconds,
    unhealthyPx: bench.findings.unhealthyPx!.reduce((sum, one) => sum + one, 0),
    ...given({ sensorCelsius: series.sensorCelsius }),
  };
}
