import { setFlatGain } from "../../camera-ready.ts";
import { leaveRigIdle } from "../../leave-rig.ts";
import { defineStep } from "../../run-step.ts";
import { pointAtSun } from "../../sun-pointing.ts";
import type { FlatFound, FlatRequest } from "../flat-request.ts";
import { exposeFlats, exposeProof } from "../flat-series.ts";
import { beginFlat, closeFront, exposeDarksIfNeeded, type FlatWork } from "../flat-work.ts";
import { saveFlat } from "../keep-flat.ts";
import { exposeLightLooks } from "../light/expose-looks.ts";
import { exposeLadder } from "../response/expose-ladder.ts";
import { checkSheet } from "./check-sheet.ts";
import { checkLeak, exposeBareSun, openThroughDiffuser, tuneFlat } from "./diffuser-work.ts";

/** A flat through a translucent sheet over the front. The leak check comes first, always. */
export const flatByDiffuser = defineStep<FlatRequest, FlatFound, FlatWork>({
  begin: beginFlat,
  first: "checking",
  states: {
    checking: { does: checkLeak, next: "covering" },
    covering: { does: closeFront, next: "pointing" },
    pointing: { does: ({ bench }, signal) => pointAtSun(bench, signal), next: "settingUp" },
    settingUp: {
      does: ({ bench }, signal) => setFlatGain(bench, signal),
      next: [
        { to: "seeingSun", when: ({ bench }) => bench.findings.lightRate.none !== undefined },
        { to: "uncovering" },
      ],
    },
    seeingSun: { does: exposeBareSun, next: "uncovering" },
    uncovering: { does: openThroughDiffuser, next: "tuning" },
    tuning: { does: tuneFlat, next: "checkingSheet" },
    checkingSheet: { does: checkSheet, next: "takingDarks" },
    takingDarks: {
      does: exposeDarksIfNeeded(({ bench }, signal) => pointAtSun(bench, signal), openThroughDiffuser),
      next: "exposing",
    },
    exposing: { does: exposeFlats, next: "exposingLadder" },
    exposingLadder: { does: exposeLadder, next: "exposingProof" },
    exposingProof: { does: exposeProof, next: "lookingAtSun" },
    lookingAtSun: { does: exposeLightLooks, next: "judging" },
    judging: { does: saveFlat, next: "done" },
  },
  makeSafe: ({ bench, request, result }, _ended, signal) =>
    leaveRigIdle(bench, result ? request.coverAfter : "closed", signal),
});
