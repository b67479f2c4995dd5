import { readDark } from "../../dark-master.ts";
import { defineStep } from "../../run-step.ts";
import type { FlatFound, FlatRequest } from "../flat-request.ts";
import { closeFront, exposeDarksIfNeeded, openToSun } from "../flat-work.ts";
import { exposeLightLooks } from "../light/expose-looks.ts";
import { exposeLadder } from "../response/expose-ladder.ts";
import { beginDefocus, checkDefocus, type DefocusWork, returnToCentre } from "./defocus-work.ts";
import { confirmFocus, leaveDefocus, measureFocus, returnToFocus } from "./focus.ts";
import { saveDefocusFlat } from "./keep-defocus.ts";
import { exposeShadowFrames, moveOutOfFocus } from "./leave-focus.ts";
import { exposeCentred, exposeDefocusProof, exposeRounds } from "./looks.ts";

/** A flat through the rig out of focus: what blur leaves of the Sun is told apart by looks from round about. */
export const flatByDefocus = defineStep<FlatRequest, FlatFound, DefocusWork>({
  begin: beginDefocus,
  first: "checking",
  states: {
    checking: { does: checkDefocus, next: "covering" },
    covering: { does: closeFront, next: "pointing" },
    pointing: { does: returnToCentre, next: "uncovering" },
    uncovering: { does: openToSun, next: "seeingSharp" },
    seeingSharp: { does: measureFocus, next: "leavingFocus" },
    leavingFocus: { does: moveOutOfFocus, next: "takingDarks" },
    takingDarks: { does: exposeDarksIfNeeded(returnToCentre, openToSun), next: "lookingBefore" },
    lookingBefore: {
      does: async (work, signal) => {
        work.dark = readDark(work.bench);
        await exposeRounds(work, signal);
      },
      next: "exposing",
    },
    exposing: { does: exposeCentred, next: "exposingLadder" },
    exposingLadder: { does: exposeLadder, next: "lookingAfter" },
    lookingAfter: { does: exposeRounds, next: "exposingProof" },
    exposingProof: { does: exposeDefocusProof, next: "seeingShadows" },
    seeingShadows: { does: exposeShadowFrames, next: "returningToFocus" },
    returningToFocus: { does: returnToFocus, next: "lookingAtSun" },
    lookingAtSun: { does: exposeLightLooks, next: "coveringAgain" },
    // What follows is reckoning: nothing needs the Sun any more.
    coveringAgain: { does: closeFront, next: "judging" },
    judging: { does: saveDefocusFlat, next: "confirmingFocus" },
    confirmingFocus: { does: confirmFocus, next: "done" },
  },
  makeSafe: leaveDefocus,
});
