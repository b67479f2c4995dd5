import { MissingAbilityError } from "../../../drivers/kit/errors.ts";
import type { Frame } from "../../../drivers/roles/camera.ts";
import { FrameMean } from "../../imaging/combining/frame-mean.ts";
import { judgeLeak } from "../../imaging/proof/leak.ts";
import { coverFront } from "../../safing/cover-front.ts";
import { contradictCover } from "../../safing/front.ts";
import { openFraction } from "../../safing/prove-covered.ts";
import { uncover } from "../../safing/uncover.ts";
import { UnsafeError } from "../../safing/unsafe-error.ts";
import { DarkSeries } from "../dark-master.ts";
import { recycleFrames, takeSeries } from "../frame-series.ts";
import { runSubstep } from "../run-step.ts";
import type { StepInput, StepWork } from "../step.ts";
import { StepError } from "../step-error.ts";
import { tuneExposure } from "../tune-exposure/tune-exposure.ts";
import type { LeakCheckFound, LeakCheckRequest } from "./leak-request.ts";

/** Covered frames of one kind. */
interface Covered {
  mean: FrameMean | undefined;
  readonly celsius: number[];
}

export interface LeakWork extends StepWork<LeakCheckRequest, LeakCheckFound> {
  readonly onSun: Covered;
  readonly offSun: Covered;
  readonly dark: DarkSeries;
  readonly biasAdu: number[];
  exposureSeconds: number;
  flatLevelAdu: number;
  withinLimit: boolean;
}

const biasFrames = 2;

export function beginLeakCheck(input: StepInput<LeakCheckRequest>): LeakWork {
  return {
    ...input,
    onSun: { mean: undefined, celsius: [] },
    offSun: { mean: undefined, celsius: [] },
    dark: new DarkSeries(input.request.frames),
    biasAdu: [],
    exposureSeconds: 0,
    flatLevelAdu: 0,
    withinLimit: false,
  };
}

/** @throws MissingAbilityError before anything moves */
export async function checkDevices({ bench: { rig } }: LeakWork): Promise<void> {
  if (!rig.cover) throw new MissingAbilityError("rig", "a leak check needs a front cover");
  if (!rig.diffuser)
    throw new MissingAbilityError("rig", "a leak check needs the diffuser that the flat is taken with");
  if (!rig.mount)
    throw new MissingAbilityError("rig", "a leak check needs a mount, to compare with frames off the Sun");
}

export function closeTube({ bench }: LeakWork, signal: AbortSignal): Promise<void> {
  return coverFront(bench, signal);
}

/** The flat's own exposure, with the diffuser in the light: a leak counts by what it is of that. */
export async function measureFlatLevel(work: LeakWork, signal: AbortSignal): Promise<void> {
  const { bench, request } = work;
  await bench.rig.diffuser!.ensureClosed(signal);
  await uncover(bench, signal);
  const tuned = await runSubstep(
    tuneExposure,
    {
      bench,
      request: { blur: "diffuser", levelFraction: request.levelFraction, what: "tuning the flat's exposure" },
    },
    signal,
  );
  work.exposureSeconds = tuned.exposureSeconds;
  work.flatLevelAdu = tuned.meanAduPerSecond * tuned.exposureSeconds;
}

/** Half of the frames on the Sun, before or after those off it. */
export function exposeCovered(half: "first" | "second") {
  return async (work: LeakWork, signal: AbortSignal): Promise<void> => {
    const { bench, request, exposureSeconds } = work;
    const firstCount = Math.ceil(request.frames / 2);
    await takeSeries(
      bench,
      {
        what: "covered frames, on the Sun",
        exposureSeconds,
        frameType: "dark",
        frameCount: half === "first" ? firstCount : request.frames - firstCount,
        part: { doneBefore: half === "first" ? 0 : request.frames + firstCount, of: 2 * request.frames },
      },
      (frame) => {
        addTo(work.onSun, frame);
        recycleFrames(bench, work.onSun.mean!.released());
        return undefined;
      },
      signal,
    );
  };
}

/** Darks off the Sun; they are the flat's darks too. And the shortest exposures, which show the level without dark current. */
export async function exposeDarks(work: LeakWork, signal: AbortSignal): Promise<void> {
  const { bench, request, exposureSeconds } = work;
  const { camera } = bench.rig;
  for (let k = 0; k < biasFrames; k++) {
    const exposure = { exposureSeconds: camera.limits.exposureSeconds.min, frameType: "dark" } as const;
    const bias = await camera.expose(exposure, signal);
    work.biasAdu.push(bias.pixelsAdu.reduce((sum, value) => sum + value, 0) / bias.pixelsAdu.length);
  }
  const releasedByOne = new Set<Uint16Array>();
  await takeSeries(
    bench,
    {
      what: "covered frames, off the Sun",
      exposureSeconds,
      frameType: "dark",
      frameCount: request.frames,
      part: { doneBefore: Math.ceil(request.frames / 2), of: 2 * request.frames },
    },
    (frame) => {
      addTo(work.offSun, frame);
      const counted = work.dark.add(frame);
      // Both look at every frame: it is given back when the second one lets it go.
      for (const pixelsAdu of [...work.offSun.mean!.released(), ...work.dark.released()]) {
        if (releasedByOne.delete(pixelsAdu)) recycleFrames(bench, [pixelsAdu]);
        else releasedByOne.add(pixelsAdu);
      }
      return counted;
    },
    signal,
  );
}

/**
 * @throws StepError when the leak is above the plan's limit, UnsafeError when it is that of an open cover; what was found is
 * told all the same
 */
export async function judgeLeakFrames(work: LeakWork): Promise<void> {
  const { bench, request, onSun, offSun, exposureSeconds, flatLevelAdu } = work;
  work.dark.finish(bench);
  const report = judgeLeak({
    shape: onSun.mean!.shape,
    coveredAdu: onSun.mean!.mean(),
    darkAdu: offSun.mean!.mean(),
    coveredLevelsAdu: onSun.mean!.levelsAdu,
    darkLevelsAdu: offSun.mean!.levelsAdu,
    unhealthyPx: bench.findings.unhealthyPx!,
    biasAdu: meanOf(work.biasAdu),
    flatLevelAdu,
  });
  const { mapAdu, mapColumns, mapRows, ...figures } = report;
  const warmer = onSun.celsius.length > 0 && offSun.celsius.length > 0;
  work.result = {
    ...figures,
    exposureSeconds,
    frames: request.frames,
    flatLevelAdu,
    map: {
      columns: mapColumns,
      rows: mapRows,
      adu: Array.from(mapAdu, (value) => (Number.isNaN(value) ? null : Number(value.toPrecision(5)))),
    },
    ...(warmer ? { warmerCelsius: meanOf(onSun.celsius) - meanOf(offSun.celsius) } : {}),
  };
  const { leakFraction, detectionLimitFraction, verdict } = report;
  bench.findings.leak = { leakFraction, detectionLimitFraction, exposureSeconds, verdict };
  bench.note("leak check", { leakFraction, detectionLimitFraction, found: report.found, verdict });
  if (report.found && leakFraction > openFraction) {
    const why = `${percent(leakFraction)} of the flat's level comes past the cover, which says that it is closed: that is no leak but an open cover`;
    contradictCover(bench.front, why);
    throw new UnsafeError(
      "COVER_STANDS_OPEN",
      why,
      "Keep everybody away from the eyepiece and the finder, close the cover by hand and see why it says what it says.",
    );
  }
  if (report.found && leakFraction > request.limitFraction)
    throw new StepError(
      "LIGHT_LEAK",
      `light leaks in past the cover: ${percent(leakFraction)} of the flat's level, above the limit of ${percent(request.limitFraction)}; ` +
        `brightest near (${report.brightestPx.xPx}, ${report.brightestPx.yPx}) px, ${report.shapeOfIt}`,
      report.whatToDo,
    );
  work.withinLimit = true;
}

function addTo(covered: Covered, frame: Frame): void {
  covered.mean ??= new FrameMean({ widthPx: frame.widthPx, heightPx: frame.heightPx });
  covered.mean.add(frame.pixelsAdu);
  if (frame.sensorCelsius !== undefined) covered.celsius.push(frame.sensorCelsius);
}

function meanOf(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / Math.max(1, values.length);
}

const percent = (fraction: number) => `${(100 * fraction).toFixed(3)} %`;
