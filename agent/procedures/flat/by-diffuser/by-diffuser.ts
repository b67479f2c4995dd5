import { setLowestGain } from "../../camera-ready.ts";
import { hasMatchingDark } from "../../dark-master.ts";
import { leaveRigIdle } from "../../leave-rig.ts";
import { defineStep } from "../../run-step.ts";
import { pointAtSun } from "../../sun-pointing.ts";
import type { FlatAsk, FlatFound } from "../flat-ask.ts";
import { exposeFlats, exposeProof } from "../flat-series.ts";
import { beginFlat, closeFront, exposeDarks, type FlatWork } from "../flat-work.ts";
import { saveFlat } from "../keep-flat.ts";
import { checkLeak, exposeBareSun, openThroughDiffuser, tuneFlat } from "./diffuser-work.ts";

/** A flat through a translucent sheet over the front. The leak check comes first, always. */
export const flatByDiffuser = defineStep<FlatAsk, FlatWork, FlatFound>({
  begin: beginFlat,
  first: "checking",
  states: {
    checking: { does: checkLeak, next: "covering" },
    covering: { does: closeFront, next: "pointing" },
    pointing: { does: ({ bench }, signal) => pointAtSun(bench, signal), next: "settingUp" },
    settingUp: {
      does: async ({ bench }, signal) => {
        await setLowestGain(bench, signal);
      },
      next: [
        { to: "seeingSun", when: ({ bench }) => bench.findings.lightRate.none !== undefined },
        { to: "uncovering" },
      ],
    },
    seeingSun: { does: exposeBareSun, next: "uncovering" },
    uncovering: { does: openThroughDiffuser, next: "tuning" },
    tuning: {
      does: tuneFlat,
      next: [
        {
          to: "exposing",
          when: ({ bench, ask, tuned }) => hasMatchingDark(bench, tuned!.exposureSeconds, ask.darkFrames),
        },
        { to: "takingDarks" },
      ],
    },
    takingDarks: { does: exposeDarks, next: "returning" },
    returning: { does: ({ bench }, signal) => pointAtSun(bench, signal), next: "uncoveringAgain" },
    uncoveringAgain: { does: openThroughDiffuser, next: "exposing" },
    exposing: { does: exposeFlats, next: "exposingProof" },
    exposingProof: { does: exposeProof, next: "judging" },
    judging: { does: saveFlat, next: "done" },
  },
  makeSafe: ({ bench, ask, found }, _ended, signal) =>
    leaveRigIdle(bench, found ? ask.coverAfter : "closed", signal),
  found: (work) => work.found,
});
