import { defineStep } from "../run-step.ts";
import { calibrate } from "./calibrate.ts";
import type { CentreAsk, CentreFound } from "./centre-ask.ts";
import { CentreWork } from "./centre-work.ts";
import { closeLoop, limbShowsWhenCentred } from "./close-loop.ts";
import { leaveSafe } from "./leave-safe.ts";
import { walkLimbs } from "./limb-walk.ts";
import { checkLimits, cover, point, setUpCamera, uncover } from "./prepare.ts";
import { recordLoop, recordWalk } from "./record.ts";
import { findLimb } from "./search.ts";

const showsLimb = ({ eye }: CentreWork) => limbShowsWhenCentred(eye.shape, eye.discRadiusPx);

/** Finds the Sun and brings it to the middle of the frame. */
export const centre = defineStep<CentreAsk, CentreWork, CentreFound>({
  begin: ({ bench, ask }) => new CentreWork(bench, ask),
  first: "checking",
  states: {
    checking: { does: checkLimits, next: "covering" },
    covering: { does: cover, next: "pointing" },
    pointing: { does: point, next: "settingUp" },
    settingUp: { does: setUpCamera, next: "uncovering" },
    uncovering: { does: uncover, next: "searching" },
    searching: {
      does: findLimb,
      // The closed loop proves a kept camera with its first move; the walk along the limbs has no such check.
      next: [
        { to: "centring", when: (work) => work.camera !== undefined && showsLimb(work) },
        { to: "calibrating" },
      ],
    },
    calibrating: { does: calibrate, next: [{ to: "centring", when: showsLimb }, { to: "walking" }] },
    centring: {
      does: closeLoop,
      next: [{ to: "recording", when: ({ isCentred }) => isCentred }, { to: "searching" }],
    },
    recording: { does: recordLoop, next: "done" },
    walking: {
      does: async (work, signal) => recordWalk(work, await walkLimbs(work, signal), signal),
      next: "done",
    },
  },
  makeSafe: ({ bench, ask }, ended, signal) => leaveSafe(bench, ask, ended === "completed", signal),
  found: ({ found }) => found,
});
