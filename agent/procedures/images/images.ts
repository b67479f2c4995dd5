import type { Frame } from "../../../drivers/roles/camera.ts";
import { takeSeries } from "../frame-series.ts";
import { leaveRig } from "../leave-rig.ts";
import { checkFilterStillOn } from "../lost-filter.ts";
import { writeRawFrame } from "../master-files.ts";
import type { Workbench } from "../step.ts";
import { runPart, stepMachine } from "../step-machine.ts";
import { pointAtSun, pointsAtSun } from "../sun-pointing.ts";
import type { Tuned } from "../tune-exposure/tune-ask.ts";
import { tuneExposure } from "../tune-exposure/tune-exposure.ts";

export interface ImagesAsk {
  readonly frames: number;
  readonly levelFraction: number;
  readonly coverAfter: "open" | "closed";
}

export interface ImagesFound {
  /** Below the run's folder, raw as the camera gave them. */
  readonly files: readonly string[];
  readonly exposureSeconds: number;
  readonly edgeFraction: number;
  readonly testFrames: number;
}

interface ImagesWork {
  readonly bench: Workbench;
  readonly ask: ImagesAsk;
  readonly files: string[];
  tuned: Tuned | undefined;
  found: ImagesFound | undefined;
}

/** Plain images of the Sun, kept raw: what the flat is for. */
export const images = stepMachine<ImagesAsk, ImagesWork, ImagesFound>({
  id: "images",
  begin: ({ bench, ask }) => ({ bench, ask, files: [], tuned: undefined, found: undefined }),
  first: "pointing",
  states: {
    pointing: { does: point, next: "uncovering" },
    uncovering: { does: uncover, next: "tuning" },
    tuning: { does: tune, next: "exposing" },
    exposing: { does: expose, next: "done" },
  },
  makeSafe: ({ bench, ask, found }) => leaveRig(bench, found ? ask.coverAfter : "closed"),
  found: (work) => work.found,
});

/** Where the mount already is stays untouched: a slew would lose the centring. */
async function point({ bench }: ImagesWork, signal: AbortSignal): Promise<void> {
  if (await pointsAtSun(bench, signal)) return bench.rig.mount?.ensureTracking("solar", signal);
  await bench.rig.cover?.ensureClosed(signal);
  await pointAtSun(bench, signal);
}

async function uncover({ bench: { rig } }: ImagesWork, signal: AbortSignal): Promise<void> {
  await rig.diffuser?.ensureOpen(signal);
  await rig.cover?.ensureOpen(signal);
}

async function tune(work: ImagesWork, signal: AbortSignal): Promise<void> {
  const { bench, ask } = work;
  const tuneAsk = { blur: "none", levelFraction: ask.levelFraction, toleranceFraction: 0.03 } as const;
  work.tuned = await runPart(tuneExposure, { bench, ask: tuneAsk }, signal);
}

async function expose(work: ImagesWork, signal: AbortSignal): Promise<void> {
  const { bench, ask, files } = work;
  const { exposureSeconds, edgeFraction, testFrames, topAdu } = work.tuned!;
  await takeSeries(
    bench,
    { what: "images", exposureSeconds, frameType: "light", frameCount: ask.frames },
    (frame) => {
      checkFilterStillOn(frame, topAdu);
      return keep(bench, files, frame);
    },
    signal,
  );
  work.found = { files, exposureSeconds, edgeFraction, testFrames };
  bench.note("images taken", { frames: files.length });
}

/** On disk before the next exposure begins. */
function keep(bench: Workbench, files: string[], frame: Frame): number {
  const file = `images/image-${String(files.length + 1).padStart(4, "0")}.fits`;
  writeRawFrame(bench, file, frame, "Light Frame");
  return files.push(file);
}
