import { setFlatGain } from "../../camera-ready.ts";
import { leaveRigIdle } from "../../leave-rig.ts";
import { defineStep } from "../../run-step.ts";
import { pointAtSun } from "../../sun-pointing.ts";
import type { FlatFound, FlatRequest } from "../flat-request.ts";
import { closeFront, exposeDarksIfNeeded, openToSun } from "../flat-work.ts";
import { beginDrift, checkDriftRoom, type DriftWork, exposeDriftFrames, tuneDrift } from "./drift-work.ts";
import { saveDriftFlat } from "./keep-drift.ts";

/** A flat solved from frames in which the Sun lies at different places: the mount wanders about the disc's centre. */
export const flatByDrift = defineStep<FlatRequest, FlatFound, DriftWork>({
  begin: beginDrift,
  first: "checking",
  states: {
    checking: { does: checkDriftRoom, next: "covering" },
    covering: { does: closeFront, next: "pointing" },
    pointing: { does: ({ bench }, signal) => pointAtSun(bench, signal), next: "settingUp" },
    settingUp: { does: ({ bench }, signal) => setFlatGain(bench, signal), next: "uncovering" },
    uncovering: { does: openToSun, next: "tuning" },
    tuning: { does: tuneDrift, next: "takingDarks" },
    takingDarks: {
      does: exposeDarksIfNeeded(({ bench }, signal) => pointAtSun(bench, signal), openToSun),
      next: "drifting",
    },
    drifting: { does: exposeDriftFrames, next: "coveringAgain" },
    // What follows is reckoning: nothing needs the Sun any more.
    coveringAgain: { does: closeFront, next: "returningHome" },
    returningHome: { does: ({ bench }, signal) => pointAtSun(bench, signal), next: "solving" },
    solving: { does: saveDriftFlat, next: "done" },
  },
  makeSafe: ({ bench, request, result }, _ended, signal) =>
    leaveRigIdle(bench, result ? request.coverAfter : "closed", signal),
});
