import { setLowestGain } from "../../camera-ready.ts";
import { hasMatchingDark } from "../../dark-master.ts";
import { leaveRigIdle } from "../../leave-rig.ts";
import { defineStep } from "../../run-step.ts";
import { pointAtSun } from "../../sun-pointing.ts";
import type { FlatAsk, FlatFound } from "../flat-ask.ts";
import { closeFront, exposeDarks, openToSun } from "../flat-work.ts";
import { beginDrift, checkDriftRoom, type DriftWork, exposeDriftFrames, tuneDrift } from "./drift-work.ts";
import { saveDriftFlat } from "./keep-drift.ts";

/** A flat solved from frames in which the Sun lies at different places: the mount wanders about the disc's centre. */
export const flatByDrift = defineStep<FlatAsk, DriftWork, FlatFound>({
  begin: beginDrift,
  first: "checking",
  states: {
    checking: { does: checkDriftRoom, next: "covering" },
    covering: { does: closeFront, next: "pointing" },
    pointing: { does: ({ bench }, signal) => pointAtSun(bench, signal), next: "settingUp" },
    settingUp: {
      does: async ({ bench }, signal) => {
        await setLowestGain(bench, signal);
      },
      next: "uncovering",
    },
    uncovering: { does: openToSun, next: "tuning" },
    tuning: {
      does: tuneDrift,
      next: [
        {
          to: "drifting",
          when: ({ bench, ask, tuned }) => hasMatchingDark(bench, tuned!.exposureSeconds, ask.darkFrames),
        },
        { to: "takingDarks" },
      ],
    },
    takingDarks: { does: exposeDarks, next: "returning" },
    returning: { does: ({ bench }, signal) => pointAtSun(bench, signal), next: "uncoveringAgain" },
    uncoveringAgain: { does: openToSun, next: "drifting" },
    drifting: { does: exposeDriftFrames, next: "coveringAgain" },
    // What follows is reckoning: nothing needs the Sun any more.
    coveringAgain: { does: closeFront, next: "returningHome" },
    returningHome: { does: ({ bench }, signal) => pointAtSun(bench, signal), next: "solving" },
    solving: { does: saveDriftFlat, next: "done" },
  },
  makeSafe: ({ bench, ask, found }, _ended, signal) =>
    leaveRigIdle(bench, found ? ask.coverAfter : "closed", signal),
  found: (work) => work.found,
});
