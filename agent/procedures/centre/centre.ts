import { coverFront } from "../../safing/cover-front.ts";
import { tryAll } from "../leave-rig.ts";
import { defineStep } from "../run-step.ts";
import { calibrateMount } from "./calibrate.ts";
import type { CentreFound, CentreRequest } from "./centre-request.ts";
import { CentreWork } from "./centre-work.ts";
import { centreDisc, isLimbVisibleWhenCentred } from "./close-loop.ts";
import { measureLimbs } from "./limb-walk.ts";
import { checkLimits, closeCover, openCover, pointAtSunCovered, setUpCamera } from "./prepare.ts";
import { recordCentring, recordLimbMeasurement } from "./record.ts";
import { findLimb } from "./search.ts";

const showsLimb = ({ frameTaker }: CentreWork) =>
  isLimbVisibleWhenCentred(frameTaker.shape, frameTaker.discRadiusPx);

/** Finds the Sun and brings it to the middle of the frame. */
export const centre = defineStep<CentreRequest, CentreFound, CentreWork>({
  begin: ({ bench, request }) => new CentreWork(bench, request),
  first: "checking",
  states: {
    checking: { does: checkLimits, next: "covering" },
    covering: { does: closeCover, next: "pointing" },
    pointing: { does: pointAtSunCovered, next: "settingUp" },
    settingUp: { does: setUpCamera, next: "uncovering" },
    uncovering: { does: openCover, next: "searching" },
    searching: {
      does: findLimb,
      // The closed loop proves a kept camera with its first move; the walk along the limbs has no such check.
      next: [
        { to: "centring", when: (work) => work.camera !== undefined && showsLimb(work) },
        { to: "calibrating" },
      ],
    },
    calibrating: { does: calibrateMount, next: [{ to: "centring", when: showsLimb }, { to: "walking" }] },
    centring: {
      does: centreDisc,
      next: [{ to: "recording", when: ({ isCentred }) => isCentred }, { to: "searching" }],
    },
    recording: { does: recordCentring, next: "done" },
    walking: {
      does: async (work, signal) => recordLimbMeasurement(work, await measureLimbs(work, signal), signal),
      next: "done",
    },
  },
  // The cover stays open only over a centred Sun.
  makeSafe: ({ bench, request }, ended, signal) =>
    tryAll([
      () => (ended === "completed" && request.coverAfter === "open" ? undefined : coverFront(bench, signal)),
      () => bench.rig.camera.ensureStopped(signal),
      () => bench.rig.mount?.ensureStopped(signal),
    ]),
});
