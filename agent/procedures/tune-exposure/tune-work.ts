import { given } from "../../../drivers/kit/given.ts";
import { type LevelReading, readLevel } from "../../imaging/exposure/frame-level.ts";
import { adviseExposure, type TuneAdvice, type TuneSetting } from "../../imaging/exposure/tune.ts";
import { extinctionRatio } from "../../sky/air-mass.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import { topCodeAdu } from "../exposure-for-level.ts";
import type { LightRate } from "../findings.ts";
import { noteLightRate, rateAtAltitude } from "../light-rates.ts";
import { checkFilterSafely, checkFilterStillOn } from "../lost-filter.ts";
import type { StepWork } from "../step.ts";
import { StepError } from "../step-error.ts";
import { sunAltitudeDegrees } from "../sun-pointing.ts";
import { readUnhealthyPixels } from "../unhealthy-px.ts";
import type { TunedExposure, TuneRequest } from "./tune-request.ts";

export interface TuneWork extends StepWork<TuneRequest, TunedExposure> {
  readonly readings: LevelReading[];
  gain: number;
  advice?: TuneAdvice;
}

/** No flat series may leave this range while the Sun sinks or climbs. */
const seriesRange = { least: 0.75, most: 0.9 };
const framesMax = 9;

/** Exposes as advised and reads the level off the frame. */
export async function measureLevel(work: TuneWork, signal: AbortSignal): Promise<void> {
  const { bench, request, advice } = work;
  if (advice?.kind !== "expose") throw new Error("nothing to expose for");
  const { camera } = bench.rig;
  const frame = await camera.expose(
    { exposureSeconds: advice.exposureSeconds, frameType: request.blur === "none" ? "light" : "flat" },
    signal,
  );
  const { widthPx, heightPx, pixelsAdu } = frame;
  const reading = readLevel(pixelsAdu, { widthPx, heightPx }, frame.exposureSeconds, {
    pedestalAdu: knownPedestal(work) ?? 0,
    topAdu: topCodeAdu(bench),
    ...given({ unhealthyPx: readUnhealthyPixels(bench, pixelsAdu.length) }),
  });
  // No light that is meant for the camera fills its converter at the shortest exposure, whatever the history says.
  if (frame.exposureSeconds <= camera.limits.exposureSeconds.min * 1.001)
    checkFilterStillOn(frame, reading.topAdu);
  work.readings.push(reading);
  const edgeFraction = reading.edgeAdu / reading.topAdu;
  bench.note("test frame", {
    exposureSeconds: reading.exposureSeconds,
    edgeFraction,
    clipped: reading.clippedFraction,
  });
  bench.progress({ what: request.what ?? "tuning the exposure", done: work.readings.length, of: framesMax });
}

/** @throws StepError when the light can't be brought to its level; `unsafe` when it is far too bright */
export async function judgeReadings(work: TuneWork): Promise<void> {
  work.advice = adviseExposure(settingOf(work), work.readings);
  const { advice, bench } = work;
  if (advice.kind === "alarm")
    throw new StepError("FAR_TOO_BRIGHT", advice.what, checkFilterSafely, "brightness");
  if (advice.kind === "gaveUp") {
    bench.note("tuning gave up", { reason: advice.reason });
    throw new StepError(codes[advice.reason], advice.what, advice.whatToDo);
  }
}

const codes = {
  tooBright: "LIGHT_TOO_BRIGHT",
  tooFaint: "LIGHT_TOO_FAINT",
  unsteady: "LIGHT_UNSTEADY",
  offsetTooLow: "OFFSET_TOO_LOW",
} as const;

/** Puts the light's rate where later steps and runs find it. @throws StepError if the Sun moves too far in the series */
export async function saveLightRate(work: TuneWork): Promise<void> {
  const { bench, request, advice, gain } = work;
  const last = work.readings.at(-1);
  if (advice?.kind !== "done" || !last) throw new Error("tuning has not ended");
  const { exposureSeconds, edgeFraction, edgeAduPerSecond, pedestalAdu, topAdu, quality, note } = advice;
  const testFrames = work.readings.length;
  const edgeFractionAtEnd = forecast(work, edgeFraction, pedestalAdu / topAdu);
  const wanted = request.levelFraction >= seriesRange.least && request.levelFraction <= seriesRange.most;
  if (
    wanted &&
    quality === "good" &&
    (edgeFractionAtEnd < seriesRange.least || edgeFractionAtEnd > seriesRange.most)
  )
    throw new StepError(
      "SUN_MOVES_TOO_FAR",
      `the upper edge would go from ${percent(edgeFraction)} to ${percent(edgeFractionAtEnd)} of full scale while the series lasts`,
      "Take fewer frames, or start when the Sun stands higher.",
    );
  const meanAduPerSecond = (last.meanAdu - pedestalAdu) / last.exposureSeconds;
  bench.findings.topCodeAdu = topAdu;
  noteLightRate(bench.findings, request.blur, {
    edgeAduPerSecond,
    meanAduPerSecond,
    pedestalAdu,
    gain,
    sunAltitudeDegrees: sunAltitudeDegrees(bench),
    measuredUtcMs: bench.clock.nowMs(),
  });
  work.result = {
    exposureSeconds,
    gain,
    edgeFraction,
    edgeAduPerSecond,
    meanAduPerSecond,
    pedestalAdu,
    topAdu,
    testFrames,
    quality,
    ...given({ note }),
    edgeFractionAtEnd,
  };
  bench.note("exposure tuned", { blur: request.blur, exposureSeconds, edgeFraction, testFrames });
}

function settingOf(work: TuneWork): TuneSetting {
  const { bench, request } = work;
  const { lightRate, clearestRate } = bench.findings;
  const rate = lightRate[request.blur];
  const rateNow = (before: LightRate | undefined) =>
    before?.gain === work.gain ? rateAtAltitude(before, sunAltitudeDegrees(bench)) : undefined;
  const history = rate?.gain === work.gain && {
    edgeAduPerSecond: rateAtAltitude(rate, sunAltitudeDegrees(bench)),
    pedestalAdu: rate.pedestalAdu,
    topAdu: topCodeAdu(bench),
  };
  return {
    exposureSeconds: bench.rig.camera.limits.exposureSeconds,
    targetFraction: request.levelFraction,
    toleranceFraction: request.toleranceFraction ?? 0.01,
    frameCountMax: framesMax,
    ...given({
      pedestalAdu: knownPedestal(work),
      history: history || undefined,
      clearestAduPerSecond: rateNow(clearestRate?.[request.blur]),
      bareSunAduPerSecond: request.blur === "none" ? undefined : rateNow(clearestRate?.none),
    }),
  };
}

/** The pedestal is the camera's, whatever the light: any rate measured at this gain knows it. */
function knownPedestal({ bench, gain }: TuneWork): number | undefined {
  return Object.values(bench.findings.lightRate).find((rate) => rate.gain === gain)?.pedestalAdu;
}

/** Extinction only: cloud can't be foretold. */
function forecast({ bench, request }: TuneWork, edgeFraction: number, pedestalFraction: number): number {
  const nowUtcMs = bench.clock.nowMs();
  const then = sunFromSite(nowUtcMs + (request.seriesSeconds ?? 0) * 1000, bench.site).altitudeDegrees;
  return (
    pedestalFraction + (edgeFraction - pedestalFraction) / extinctionRatio(sunAltitudeDegrees(bench), then)
  );
}

const percent = (fraction: number) => `${(100 * fraction).toFixed(1)} %`;
