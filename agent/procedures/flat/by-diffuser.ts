import { setLowestGain } from "../camera-ready.ts";
import { hasMatchingDark } from "../dark-master.ts";
import { leaveRig } from "../leave-rig.ts";
import { stepMachine } from "../step-machine.ts";
import { pointAtSun } from "../sun-pointing.ts";
import {
  beginFlat,
  checkLeak,
  coverFront,
  exposeFlats,
  exposeProof,
  type FlatWork,
  seeSun,
  takeDarks,
  tuneFlat,
  uncoverDiffused,
} from "./diffuser-work.ts";
import type { FlatAsk, FlatFound } from "./flat-ask.ts";
import { keepFlat } from "./keep-flat.ts";

/** A flat through a translucent sheet over the front. The leak check comes first, always. */
export const flatByDiffuser = stepMachine<FlatAsk, FlatWork, FlatFound>({
  id: "flatByDiffuser",
  begin: beginFlat,
  first: "checking",
  states: {
    checking: { does: checkLeak, then: "covering" },
    covering: { does: coverFront, then: "pointing" },
    pointing: { does: ({ bench }, signal) => pointAtSun(bench, signal), then: "settingUp" },
    settingUp: {
      does: async ({ bench }, signal) => {
        await setLowestGain(bench, signal);
      },
      then: [
        { to: "seeingSun", when: ({ bench }) => bench.findings.lightRate.none !== undefined },
        { to: "uncovering" },
      ],
    },
    seeingSun: { does: seeSun, then: "uncovering" },
    uncovering: { does: uncoverDiffused, then: "tuning" },
    tuning: {
      does: tuneFlat,
      then: [
        {
          to: "exposing",
          when: ({ bench, ask, tuned }) => hasMatchingDark(bench, tuned!.exposureSeconds, ask.darkFrames),
        },
        { to: "takingDarks" },
      ],
    },
    takingDarks: { does: takeDarks, then: "returning" },
    returning: { does: ({ bench }, signal) => pointAtSun(bench, signal), then: "uncoveringAgain" },
    uncoveringAgain: { does: uncoverDiffused, then: "exposing" },
    exposing: { does: exposeFlats, then: "exposingProof" },
    exposingProof: { does: exposeProof, then: "judging" },
    judging: { does: keepFlat, then: "done" },
  },
  makeSafe: ({ bench, ask, found }) => leaveRig(bench, found ? ask.coverAfter : "closed"),
  found: (work) => work.found,
});
