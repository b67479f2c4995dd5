import { hasMatchingDark, readDark } from "../../dark-master.ts";
import { defineStep } from "../../run-step.ts";
import type { FlatAsk, FlatFound } from "../flat-ask.ts";
import { coverFront, takeDarks, uncoverSun } from "../flat-work.ts";
import { beginDefocus, checkDefocus, type DefocusWork, pointHome } from "./defocus-work.ts";
import { confirmFocus, leaveDefocus, returnToFocus, seeSharp } from "./focus.ts";
import { keepDefocus } from "./keep-defocus.ts";
import { leaveFocus, seeShadows } from "./leave-focus.ts";
import { exposeCentred, exposeDefocusProof, lookRoundAbout } from "./looks.ts";

/** A flat through the rig out of focus: what blur leaves of the Sun is told apart by looks from round about. */
export const flatByDefocus = defineStep<FlatAsk, DefocusWork, FlatFound>({
  begin: beginDefocus,
  first: "checking",
  states: {
    checking: { does: checkDefocus, next: "covering" },
    covering: { does: coverFront, next: "pointing" },
    pointing: { does: pointHome, next: "uncovering" },
    uncovering: { does: uncoverSun, next: "seeingSharp" },
    seeingSharp: { does: seeSharp, next: "leavingFocus" },
    leavingFocus: {
      does: leaveFocus,
      next: [
        {
          to: "lookingBefore",
          when: ({ bench, ask, tuned }) => hasMatchingDark(bench, tuned!.exposureSeconds, ask.darkFrames),
        },
        { to: "takingDarks" },
      ],
    },
    takingDarks: { does: takeDarks, next: "returning" },
    returning: { does: pointHome, next: "uncoveringAgain" },
    uncoveringAgain: { does: uncoverSun, next: "lookingBefore" },
    lookingBefore: {
      does: async (work, signal) => {
        work.dark = readDark(work.bench);
        await lookRoundAbout(work, signal);
      },
      next: "exposing",
    },
    exposing: { does: exposeCentred, next: "lookingAfter" },
    lookingAfter: { does: lookRoundAbout, next: "exposingProof" },
    exposingProof: { does: exposeDefocusProof, next: "seeingShadows" },
    seeingShadows: { does: seeShadows, next: "returningToFocus" },
    returningToFocus: { does: returnToFocus, next: "coveringAgain" },
    // What follows is reckoning: nothing needs the Sun any more.
    coveringAgain: { does: coverFront, next: "judging" },
    judging: { does: keepDefocus, next: "confirmingFocus" },
    confirmingFocus: { does: confirmFocus, next: "done" },
  },
  makeSafe: leaveDefocus,
  found: (work) => work.found,
});
