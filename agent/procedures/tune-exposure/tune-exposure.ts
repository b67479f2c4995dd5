import { setFlatGain } from "../camera-ready.ts";
import { defineStep } from "../run-step.ts";
import type { TunedExposure, TuneRequest } from "./tune-request.ts";
import { judgeReadings, measureLevel, saveLightRate, type TuneWork } from "./tune-work.ts";

/**
 * Finds the exposure that brings the upper edge to its level, at the lowest gain, in as few frames as the light allows.
 * Pointing, cover and diffuser are the caller's: it tunes for the light as it finds it.
 */
export const tuneExposure = defineStep<TuneRequest, TunedExposure, TuneWork>({
  begin: (input) => ({ ...input, readings: [], gain: 0 }),
  first: "settingUp",
  states: {
    settingUp: {
      does: async (work, signal) => {
        work.gain = await setFlatGain(work.bench, signal);
      },
      next: "judging",
    },
    exposing: { does: measureLevel, next: "judging" },
    judging: {
      does: judgeReadings,
      next: [{ to: "exposing", when: (work) => work.advice?.kind === "expose" }, { to: "recording" }],
    },
    recording: { does: saveLightRate, next: "done" },
  },
  makeSafe: ({ bench }, _ended, signal) => bench.rig.camera.ensureStopped(signal),
});
