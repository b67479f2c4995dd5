import { given } from "../../../drivers/kit/given.ts";
import { startStopwatch } from "../../../drivers/kit/stopwatch.ts";
import { coverFront } from "../../safing/cover-front.ts";
import { uncover } from "../../safing/uncover.ts";
import { FlatChecker } from "../flat-in-use/flat-check.ts";
import { catchUpWithSun } from "../follow-sun.ts";
import { recycleFrames, takeSeries } from "../frame-series.ts";
import { leaveRigIdle } from "../leave-rig.ts";
import { checkFilterStillOn } from "../lost-filter.ts";
import { defineStep, runSubstep } from "../run-step.ts";
import type { StepInput } from "../step.ts";
import { isPointedAtSun, pointAtSun } from "../sun-pointing.ts";
import { sunTrackingRate } from "../sun-tracking-rate.ts";
import { tuneExposure } from "../tune-exposure/tune-exposure.ts";
import { checkFlat } from "./check-flat.ts";
import { markMisfitImages, nextImageNumber, saveImage } from "./image-files.ts";
import {
  areImagesDone,
  type ImagesFound,
  type ImagesRequest,
  type ImagesWork,
  imageSecondsLeft,
} from "./images-request.ts";
import { locateMove } from "./when-moved.ts";

/** Plain images of the Sun, kept raw: what the flat is for. Now and then they are asked whether it still fits. */
export const images = defineStep<ImagesRequest, ImagesFound, ImagesWork>({
  begin,
  first: "pointing",
  states: {
    pointing: { does: point, next: "uncovering" },
    uncovering: {
      does: openToSun,
      next: [{ to: "exposing", when: ({ tuned }) => tuned !== undefined }, { to: "tuning" }],
    },
    tuning: { does: tune, next: "exposing" },
    exposing: {
      does: expose,
      next: [{ to: "checking", when: ({ request }) => request.flatCheck !== undefined }, { to: "keeping" }],
    },
    checking: {
      does: checkFlat,
      next: [
        { to: "exposing", when: (work) => work.asks === undefined && !areImagesDone(work) },
        { to: "keeping" },
      ],
    },
    keeping: { does: recordImages, next: "done" },
  },
  makeSafe: ({ bench, request, result, asks }, _ended, signal) =>
    leaveRigIdle(bench, result && !asks ? request.coverAfter : "closed", signal),
});

function begin(input: StepInput<ImagesRequest>): ImagesWork {
  const { bench, request } = input;
  return {
    ...input,
    files: [],
    takenWithin: [],
    checks: [],
    checker: new FlatChecker(bench),
    firstNumber: nextImageNumber(bench),
    seconds: startStopwatch(bench.clock),
    taken: request.resumeWith?.taken ?? 0,
    gain: request.resumeWith?.gain ?? 0,
    tuned: request.resumeWith?.tuned,
  };
}

/** Where the mount already is stays untouched: a slew would lose the centring. */
async function point({ bench }: ImagesWork, signal: AbortSignal): Promise<void> {
  const { mount } = bench.rig;
  if (await isPointedAtSun(bench, signal)) return mount?.ensureTracking(sunTrackingRate(mount), signal);
  await coverFront(bench, signal);
  await pointAtSun(bench, signal);
}

/** After a new flat the camera is first set as it was for the images before it. */
async function openToSun({ bench, request }: ImagesWork, signal: AbortSignal): Promise<void> {
  const { rig } = bench;
  if (request.resumeWith) await rig.camera.configure({ gain: request.resumeWith.gain }, signal);
  await rig.diffuser?.ensureOpen(signal);
  await uncover(bench, signal);
}

async function tune(work: ImagesWork, signal: AbortSignal): Promise<void> {
  const { bench, request } = work;
  const tuneRequest = {
    blur: "none",
    levelFraction: request.levelFraction,
    toleranceFraction: 0.03,
  } as const;
  work.tuned = await runSubstep(tuneExposure, { bench, request: tuneRequest }, signal);
  work.gain = work.tuned.gain;
}

/** Up to the next check of the flat. */
async function expose(work: ImagesWork, signal: AbortSignal): Promise<void> {
  const { bench, request } = work;
  const { exposureSeconds, topAdu } = work.tuned!;
  const doneBefore = work.taken;
  let fromUtcMs = bench.clock.nowMs();
  await takeSeries(
    bench,
    {
      what: "images",
      exposureSeconds,
      frameType: "light",
      frameCount: untilNextCheck(work),
      part: { doneBefore, of: request.frames },
      before: async () => {
        await untilNextImage(work, signal);
        await catchUpWithSun(bench, signal);
      },
      enough: () => areImagesDone(work),
    },
    (frame) => {
      checkFilterStillOn(frame, topAdu);
      const toUtcMs = bench.clock.nowMs();
      work.takenWithin.push({ fromUtcMs, toUtcMs });
      fromUtcMs = toUtcMs;
      work.files.push(saveImage(bench, work.firstNumber + work.files.length, frame));
      work.taken++;
      if (work.latest) recycleFrames(bench, [work.latest.pixelsAdu]);
      work.latest = frame;
      return undefined;
    },
    signal,
  );
}

async function untilNextImage(work: ImagesWork, signal: AbortSignal): Promise<void> {
  const { bench, request, seconds, lastBegunSeconds } = work;
  if (request.everySeconds !== undefined && lastBegunSeconds !== undefined) {
    const left = lastBegunSeconds + request.everySeconds - seconds();
    if (left > 0) await bench.clock.sleep(Math.min(left, imageSecondsLeft(work) ?? left), signal);
  }
  work.lastBegunSeconds = seconds();
}

function untilNextCheck({ request, taken, files }: ImagesWork): number {
  const left = request.frames - taken;
  if (!request.flatCheck) return left;
  const { everyFrames } = request.flatCheck;
  return Math.min(left, files.length === 0 ? 1 : everyFrames - (taken % everyFrames));
}

async function recordImages(work: ImagesWork, signal: AbortSignal): Promise<void> {
  const { bench, files, takenWithin, checks } = work;
  const { exposureSeconds, edgeFraction, testFrames } = work.tuned!;
  const flat = checks.find((check) => check.flat !== undefined)?.flat;
  work.result = {
    files,
    takenWithin,
    exposureSeconds,
    edgeFraction,
    testFrames,
    ...given({ flat }),
    checks,
    ...(await locateMove(work, signal)),
  };
  const { doubtful, moved } = work.result;
  for (const file of doubtful) markMisfitImages(bench, file, "unsure");
  for (const file of moved) markMisfitImages(bench, file, "moved");
  bench.note("images taken", { frames: files.length, doubtful: doubtful.length, moved: moved.length });
}
