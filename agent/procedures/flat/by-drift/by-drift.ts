import { setLowestGain } from "../../camera-ready.ts";
import { hasMatchingDark } from "../../dark-master.ts";
import { leaveRig } from "../../leave-rig.ts";
import { defineStep } from "../../run-step.ts";
import { pointAtSun } from "../../sun-pointing.ts";
import type { FlatAsk, FlatFound } from "../flat-ask.ts";
import { coverFront, takeDarks, uncoverSun } from "../flat-work.ts";
import { beginDrift, checkRoom, type DriftWork, exposeDrifting, tuneDrift } from "./drift-work.ts";
import { keepDrift } from "./keep-drift.ts";

/** A flat solved from frames in which the Sun lies at different places: the mount wanders about the disc's centre. */
export const flatByDrift = defineStep<FlatAsk, DriftWork, FlatFound>({
  begin: beginDrift,
  first: "checking",
  states: {
    checking: { does: checkRoom, next: "covering" },
    covering: { does: coverFront, next: "pointing" },
    pointing: { does: ({ bench }, signal) => pointAtSun(bench, signal), next: "settingUp" },
    settingUp: {
      does: async ({ bench }, signal) => {
        await setLowestGain(bench, signal);
      },
      next: "uncovering",
    },
    uncovering: { does: uncoverSun, next: "tuning" },
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
    takingDarks: { does: takeDarks, next: "returning" },
    returning: { does: ({ bench }, signal) => pointAtSun(bench, signal), next: "uncoveringAgain" },
    uncoveringAgain: { does: uncoverSun, next: "drifting" },
    drifting: { does: exposeDrifting, next: "coveringAgain" },
    // What follows is reckoning: nothing needs the Sun any more.
    coveringAgain: { does: coverFront, next: "returningHome" },
    returningHome: { does: ({ bench }, signal) => pointAtSun(bench, signal), next: "solving" },
    solving: { does: keepDrift, next: "done" },
  },
  makeSafe: ({ bench, ask, found }, _ended, signal) =>
    leaveRig(bench, found ? ask.coverAfter : "closed", signal),
  found: (work) => work.found,
});
