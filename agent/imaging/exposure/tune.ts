import type { LevelReading } from "./frame-level.ts";
import { clippedMost, estimateLight, type Light } from "./light-estimate.ts";
import { afterClipping, type Band, nextFromRate, ratioOf } from "./next-exposure.ts";

export interface TuneSetting {
  readonly exposureSeconds: { readonly min: number; readonly max: number; readonly step?: number };
  /** Level without light, where it is known. */
  readonly pedestalAdu?: number;
  /** What this rig showed before, brought to the Sun's present altitude: upper edge above the pedestal per second. */
  readonly history?: {
    readonly edgeAduPerSecond: number;
    readonly pedestalAdu: number;
    readonly topAdu: number;
  };
  /** The brightest that this rig ever was, brought to the same altitude; what it showed last may have been through cloud. */
  readonly clearestAduPerSecond?: number;
  /** The bare Sun's upper edge per second at the same altitude: no blur makes it brighter than it is. */
  readonly bareSunAduPerSecond?: number;
  /** Where the upper edge shall be, as a fraction of full scale. Default 0.85 ± 0.01. */
  readonly targetFraction?: number;
  readonly toleranceFraction?: number;
  readonly frameCountMax?: number;
}

export type TuneAdvice =
  | { readonly kind: "expose"; readonly exposureSeconds: number }
  | (TunedLight & { readonly kind: "done"; readonly quality: "good" | "usable"; readonly note?: string })
  | {
      readonly kind: "gaveUp";
      readonly reason: GiveUpReason;
      readonly what: string;
      readonly whatToDo: string;
    }
  /** Far brighter than the rig ever was: the filter may be missing. */
  | { readonly kind: "alarm"; readonly what: string };

export type GiveUpReason = "tooBright" | "tooFaint" | "unsteady" | "offsetTooLow";

export interface TunedLight {
  readonly exposureSeconds: number;
  readonly edgeFraction: number;
  readonly edgeAduPerSecond: number;
  readonly pedestalAdu: number;
  readonly topAdu: number;
}

/** A level above so many times the rig's history means a missing filter. */
const alarmTimes = 4;
/** A frame this bright (of full scale) tells the rate by itself; its noise lifts the edge by another part in a hundred. */
const strongFraction = 0.4;
const sameRate = 0.02;

/**
 * The exposure law: from all frames so far to the next exposure, or the end. A pure function: the procedure owns no state.
 * Frames of millions of pixels tell the rate even when they look black, so it jumps: the first frame is at the shortest
 * exposure (or where history points), the next near the target, the last confirms.
 */
export function adviseExposure(setting: TuneSetting, readings: readonly LevelReading[]): TuneAdvice {
  const last = readings.at(-1);
  if (!last) return expose(setting, firstExposure(setting));
  const light = estimateLight(setting.pedestalAdu ?? setting.history?.pedestalAdu, readings);
  const alarm = brightnessAlarm(setting, last, light);
  if (alarm) return alarm;
  if (last.lowClippedFraction > 0.01)
    return {
      kind: "gaveUp",
      reason: "offsetTooLow",
      what: `${(100 * last.lowClippedFraction).toFixed(1)} % of the pixels read 0`,
      whatToDo: "Raise the camera's offset until a dark frame has no pixel at 0.",
    };
  const band = bandOf(setting, light.topAdu);
  if (isIn(band, last)) {
    const before = readings.at(-2);
    if (before && agrees(before, last, light) && isSteady(readings, light)) return done(last, light, "good");
    const trimmed = last.exposureSeconds * ratioOf(band.targetAdu, last.edgeAdu, light.pedestalAdu);
    const centred = Math.abs(last.edgeAdu - band.targetAdu) < band.toleranceAdu / 2;
    return expose(setting, centred ? last.exposureSeconds : trimmed);
  }
  if (readings.length >= (setting.frameCountMax ?? 9)) return unsteady(readings, light);
  const wanted =
    last.clippedFraction > clippedMost
      ? afterClipping(setting.targetFraction ?? 0.85, last, light)
      : nextFromRate(last, light, band);
  return withinLimits(setting, readings, wanted, light) ?? expose(setting, wanted);
}

function firstExposure(setting: TuneSetting): number {
  const { history } = setting;
  if (!history) return setting.exposureSeconds.min;
  const target = (setting.targetFraction ?? 0.85) * history.topAdu;
  return (target - history.pedestalAdu) / history.edgeAduPerSecond;
}

/** Under cloud two frames may agree by chance: where there are three strong ones, all three must. */
function isSteady(readings: readonly LevelReading[], light: Light): boolean {
  const rates = readings
    .filter(
      (reading) =>
        reading.clippedFraction <= clippedMost && reading.edgeAdu >= strongFraction * reading.topAdu,
    )
    .slice(-3)
    .map((reading) => (reading.edgeAdu - light.pedestalAdu) / reading.exposureSeconds);
  return Math.max(...rates) / Math.min(...rates) - 1 < 2 * sameRate;
}

/** Two strong frames that tell the same rate confirm each other, whether or not both lie in the band. */
function agrees(before: LevelReading, last: LevelReading, light: Light): boolean {
  if (before.clippedFraction > clippedMost || before.edgeAdu < strongFraction * before.topAdu) return false;
  const rate = (reading: LevelReading) => (reading.edgeAdu - light.pedestalAdu) / reading.exposureSeconds;
  return Math.abs(rate(last) / rate(before) - 1) < sameRate;
}

function bandOf(setting: TuneSetting, topAdu: number): Band {
  return {
    targetAdu: (setting.targetFraction ?? 0.85) * topAdu,
    // a tenth is kept back, so that the next frame's own noise does not carry it outside
    toleranceAdu: 0.9 * (setting.toleranceFraction ?? 0.01) * topAdu,
  };
}

function isIn(band: Band, reading: LevelReading): boolean {
  return (
    reading.clippedFraction <= clippedMost && Math.abs(reading.edgeAdu - band.targetAdu) <= band.toleranceAdu
  );
}

function brightnessAlarm(setting: TuneSetting, last: LevelReading, light: Light): TuneAdvice | undefined {
  const signalAdu = last.edgeAdu - light.pedestalAdu;
  if (last.clippedFraction > clippedMost || signalAdu <= 0.02 * last.topAdu) return undefined;
  const rate = signalAdu / last.exposureSeconds;
  const alarm = (times: number, than: string): TuneAdvice => ({
    kind: "alarm",
    what: `the picture is ${times.toFixed(1)} times brighter than ${than}: a filter or the diffuser may be missing`,
  });
  const { clearestAduPerSecond, bareSunAduPerSecond = Number.POSITIVE_INFINITY } = setting;
  if (clearestAduPerSecond !== undefined && rate >= alarmTimes * clearestAduPerSecond)
    return alarm(rate / clearestAduPerSecond, "this rig's history");
  // The margin is for cloud that had dimmed it.
  if (rate >= alarmTimes * bareSunAduPerSecond)
    return alarm(rate / bareSunAduPerSecond, "the Sun without anything to blur it");
  return undefined;
}

/** At the limits of the exposure there is nothing more to try: the answer is in the frame taken there. */
function withinLimits(
  setting: TuneSetting,
  readings: readonly LevelReading[],
  wanted: number,
  light: Light,
): TuneAdvice | undefined {
  const last = readings.at(-1)!;
  const { min, max } = setting.exposureSeconds;
  const fraction = last.edgeAdu / last.topAdu;
  if (wanted < min && last.exposureSeconds <= min * 1.0001) {
    if (last.clippedFraction <= clippedMost && fraction <= 0.9)
      return done(
        last,
        light,
        "usable",
        `the shortest exposure already gives ${percent(fraction)} of full scale`,
      );
    return {
      kind: "gaveUp",
      reason: "tooBright",
      what: `too bright at the shortest exposure (${min} s): upper edge at ${percent(fraction)} of full scale, ${percent(last.clippedFraction)} clipped`,
      whatToDo: "Weaken the light: a denser diffuser or filter, or a smaller aperture.",
    };
  }
  if (wanted > max && last.exposureSeconds >= max * 0.9999) {
    if (fraction >= 0.5)
      return done(
        last,
        light,
        "usable",
        `the longest exposure gives only ${percent(fraction)} of full scale`,
      );
    const times = (0.6 * last.topAdu - light.pedestalAdu) / Math.max(1, last.edgeAdu - light.pedestalAdu);
    return {
      kind: "gaveUp",
      reason: "tooFaint",
      what: `too faint at the longest exposure (${max} s): upper edge at ${percent(fraction)} of full scale`,
      whatToDo:
        fraction >= 0.3
          ? `Raise the camera's gain by a factor of ${times.toFixed(1)}, or use a thinner diffuser.`
          : "Look whether cover, filter slot and diffuser are what the plan says; then use a thinner diffuser.",
    };
  }
  return undefined;
}

function unsteady(readings: readonly LevelReading[], light: Light): TuneAdvice {
  const rates = readings
    .filter((reading) => reading.clippedFraction <= clippedMost && reading.edgeAdu > 0.3 * reading.topAdu)
    .map((reading) => (reading.edgeAdu - light.pedestalAdu) / reading.exposureSeconds);
  const swing = rates.length > 1 ? Math.max(...rates) / Math.min(...rates) - 1 : 0;
  return {
    kind: "gaveUp",
    reason: "unsteady",
    what: `no two of ${readings.length} frames agree: the light changed by ${percent(swing)} between frames of like exposure`,
    whatToDo: "Wait for thin cloud to pass, then run the plan again.",
  };
}

function done(last: LevelReading, light: Light, quality: "good" | "usable", note?: string): TuneAdvice {
  return {
    kind: "done",
    quality,
    exposureSeconds: last.exposureSeconds,
    edgeFraction: last.edgeAdu / last.topAdu,
    edgeAduPerSecond: (last.edgeAdu - light.pedestalAdu) / last.exposureSeconds,
    pedestalAdu: light.pedestalAdu,
    topAdu: light.topAdu,
    ...(note === undefined ? {} : { note }),
  };
}

function expose(setting: TuneSetting, seconds: number): TuneAdvice {
  const { min, max, step } = setting.exposureSeconds;
  let exposureSeconds = Math.min(max, Math.max(min, seconds));
  if (step) exposureSeconds = Math.min(max, min + Math.round((exposureSeconds - min) / step) * step);
  return { kind: "expose", exposureSeconds };
}

const percent = (fraction: number) => `${(100 * fraction).toFixed(1)} %`;
