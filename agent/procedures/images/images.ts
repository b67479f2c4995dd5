import { given } from "../../../drivers/kit/given.ts";
import { FlatChecker } from "../flat-in-use/flat-check.ts";
import { recycleFrames, takeSeries } from "../frame-series.ts";
import { leaveRigIdle } from "../leave-rig.ts";
import { checkFilterStillOn } from "../lost-filter.ts";
import { defineStep, runSubstep } from "../run-step.ts";
import type { StepInput } from "../step.ts";
import { isPointedAtSun, pointAtSun } from "../sun-pointing.ts";
import { tuneExposure } from "../tune-exposure/tune-exposure.ts";
import { checkFlat } from "./check-flat.ts";
import { markMisfitImages, nextImageNumber, saveImage } from "./image-files.ts";
import type { ImagesAsk, ImagesFound, ImagesWork } from "./images-ask.ts";
import { locateMove } from "./when-moved.ts";

/** Plain images of the Sun, kept raw: what the flat is for. Now and then they are asked whether it still fits. */
export const images = defineStep<ImagesAsk, ImagesFound, ImagesWork>({
  begin,
  first: "pointing",
  states: {
    pointing: { does: point, next: "uncovering" },
    uncovering: {
      does: uncover,
      next: [{ to: "exposing", when: ({ tuned }) => tuned !== undefined }, { to: "tuning" }],
    },
    tuning: { does: tune, next: "exposing" },
    exposing: {
      does: expose,
      next: [{ to: "checking", when: ({ ask }) => ask.flatCheck !== undefined }, { to: "keeping" }],
    },
    checking: {
      does: checkFlat,
      next: [
        { to: "exposing", when: ({ asks, taken, ask }) => asks === undefined && taken < ask.frames },
        { to: "keeping" },
      ],
    },
    keeping: { does: tell, next: "done" },
  },
  makeSafe: ({ bench, ask, result, asks }, _ended, signal) =>
    leaveRigIdle(bench, result && !asks ? ask.coverAfter : "closed", signal),
});

function begin(input: StepInput<ImagesAsk>): ImagesWork {
  const { bench, ask } = input;
  return {
    ...input,
    files: [],
    checks: [],
    checker: new FlatChecker(bench),
    firstNumber: nextImageNumber(bench),
    taken: ask.resumeWith?.taken ?? 0,
    gain: ask.resumeWith?.gain ?? 0,
    tuned: ask.resumeWith?.tuned,
  };
}

/** Where the mount already is stays untouched: a slew would lose the centring. */
async function point({ bench }: ImagesWork, signal: AbortSignal): Promise<void> {
  if (await isPointedAtSun(bench, signal)) return bench.rig.mount?.ensureTracking("solar", signal);
  await bench.rig.cover?.ensureClosed(signal);
  await pointAtSun(bench, signal);
}

/** After a new flat the camera is first set as it was for the images before it. */
async function uncover({ bench: { rig }, ask }: ImagesWork, signal: AbortSignal): Promise<void> {
  if (ask.resumeWith) await rig.camera.configure({ gain: ask.resumeWith.gain }, signal);
  await rig.diffuser?.ensureOpen(signal);
  await rig.cover?.ensureOpen(signal);
}

async function tune(work: ImagesWork, signal: AbortSignal): Promise<void> {
  const { bench, ask } = work;
  const tuneAsk = { blur: "none", levelFraction: ask.levelFraction, toleranceFraction: 0.03 } as const;
  work.tuned = await runSubstep(tuneExposure, { bench, ask: tuneAsk }, signal);
  work.gain = work.tuned.gain;
}

/** Up to the next check of the flat. */
async function expose(work: ImagesWork, signal: AbortSignal): Promise<void> {
  const { bench, ask } = work;
  const { exposureSeconds, topAdu } = work.tuned!;
  const doneBefore = work.taken;
  await takeSeries(
    bench,
    {
      what: "images",
      exposureSeconds,
      frameType: "light",
      frameCount: untilNextCheck(work),
      part: { doneBefore, of: ask.frames },
    },
    (frame) => {
      checkFilterStillOn(frame, topAdu);
      work.files.push(saveImage(bench, work.firstNumber + work.files.length, frame));
      work.taken++;
      if (work.latest) recycleFrames(bench, [work.latest.pixelsAdu]);
      work.latest = frame;
      return undefined;
    },
    signal,
  );
}

function untilNextCheck({ ask, taken, files }: ImagesWork): number {
  const left = ask.frames - taken;
  if (!ask.flatCheck) return left;
  const { everyFrames } = ask.flatCheck;
  return Math.min(left, files.length === 0 ? 1 : everyFrames - (taken % everyFrames));
}

async function tell(work: ImagesWork, signal: AbortSignal): Promise<void> {
  const { bench, files, checks } = work;
  const { exposureSeconds, edgeFraction, testFrames } = work.tuned!;
  const flat = checks.find((check) => check.flat !== undefined)?.flat;
  work.result = {
    files,
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
