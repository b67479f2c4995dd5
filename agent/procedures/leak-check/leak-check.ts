import { setFlatGain } from "../camera-ready.ts";
import { leaveRigIdle } from "../leave-rig.ts";
import { defineStep } from "../run-step.ts";
import { pointAtSun, pointOffSun } from "../sun-pointing.ts";
import type { LeakCheckFound, LeakCheckRequest } from "./leak-request.ts";
import {
  beginLeakCheck,
  checkDevices,
  closeTube,
  exposeCovered,
  exposeDarks,
  judgeLeakFrames,
  type LeakWork,
  measureFlatLevel,
} from "./leak-work.ts";

/**
 * Whether light comes past the closed cover, at the flat's own exposure: half of the covered frames on the Sun, all of
 * those off it, the other half on the Sun again. So a slow drift cancels, for the price of two slews.
 */
export const leakCheck = defineStep<LeakCheckRequest, LeakCheckFound, LeakWork>({
  begin: beginLeakCheck,
  first: "checking",
  states: {
    checking: { does: checkDevices, next: "covering" },
    covering: { does: closeTube, next: "pointing" },
    pointing: { does: ({ bench }, signal) => pointAtSun(bench, signal), next: "settingUp" },
    settingUp: { does: ({ bench }, signal) => setFlatGain(bench, signal), next: "tuning" },
    tuning: { does: measureFlatLevel, next: "coveringAgain" },
    coveringAgain: { does: closeTube, next: "lookingFirst" },
    lookingFirst: { does: exposeCovered("first"), next: "leavingSun" },
    leavingSun: { does: ({ bench }, signal) => pointOffSun(bench, signal), next: "comparing" },
    comparing: { does: exposeDarks, next: "returning" },
    returning: { does: ({ bench }, signal) => pointAtSun(bench, signal), next: "lookingAgain" },
    lookingAgain: { does: exposeCovered("second"), next: "judging" },
    judging: { does: judgeLeakFrames, next: "done" },
  },
  makeSafe: ({ bench, request, withinLimit }, _ended, signal) =>
    leaveRigIdle(bench, withinLimit ? request.coverAfter : "closed", signal),
});
