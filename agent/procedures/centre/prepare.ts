import { given } from "../../../drivers/kit/given.ts";
import type { Frame } from "../../../drivers/roles/camera.ts";
import { countCodes, quantileAdu } from "../../imaging/exposure/histogram.ts";
import { coverFront } from "../../safing/cover-front.ts";
import { contradictCover } from "../../safing/front.ts";
import { openFraction } from "../../safing/prove-covered.ts";
import { uncover } from "../../safing/uncover.ts";
import { UnsafeError } from "../../safing/unsafe-error.ts";
import { refractionFlattening } from "../../sky/refraction.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import { topCodeAdu } from "../exposure-for-level.ts";
import type { LightRate } from "../findings.ts";
import { rateAtAltitude } from "../light-rates.ts";
import { StepError } from "../step-error.ts";
import { sunTrackingRate } from "../sun-tracking-rate.ts";
import { distanceArcsec, knownPointingOffset } from "./aim.ts";
import { FrameTooSmallError } from "./centre-errors.ts";
import type { CentreWork } from "./centre-work.ts";
import { type CoveredLevel, coveredLevel, darkBelowAdu, levelWithoutCover } from "./covered-level.ts";
import { FrameTaker } from "./frame-taker.ts";

/** A mount this near the wanted place need not slew [arcsec]. */
const thereArcsec = 180;
/** Longest exposure for looking: a Sun too faint for it could not be imaged either. Less if stray light shows [s]. */
const lookSecondsMax = 1;
/** A focal length in a rig file is nominal; a calibration from an earlier run is measured. */
const radiusTolerance = { fromOptics: 0.06, fromCalibration: 0.02 };

/** Nothing has moved yet. @throws StepError, MissingAbilityError */
export async function checkLimits({ bench, request }: CentreWork): Promise<void> {
  const sun = sunFromSite(bench.clock.nowMs(), bench.site);
  if (sun.altitudeDegrees < request.sunAltitudeDegreesMin) {
    throw new StepError(
      "SUN_TOO_LOW",
      `the Sun stands at ${sun.altitudeDegrees.toFixed(1)}°, below the limit of ${request.sunAltitudeDegreesMin}°`,
      "Run later in the day, or lower `limits.sunAltitudeDegreesMin` in the rig file.",
    );
  }
}

/** Covered before anything points near the Sun; a diffuser would blur the limb away. */
export async function closeCover({ bench }: CentreWork, signal: AbortSignal): Promise<void> {
  await coverFront(bench, signal);
  await bench.rig.diffuser?.ensureOpen(signal);
}

/** Unparked, following the Sun, and pointed at it; still covered. */
export async function pointAtSunCovered(work: CentreWork, signal: AbortSignal): Promise<void> {
  const { mount, aim } = work;
  await mount.ensureUnparked(signal);
  await mount.ensureTracking(sunTrackingRate(mount), signal);
  const home = knownPointingOffset(work.bench);
  const isThere = distanceArcsec(await aim.reported(signal), home) < thereArcsec;
  // One that may change sides does so now, behind the cover.
  if (isThere && !(await aim.mayFlip(home, signal))) return;
  await aim.approach(home, signal);
}

/** Lowest gain, and what the camera shows without light. Region and binning stay: it is their middle that counts. */
export async function setUpCamera(work: CentreWork, signal: AbortSignal): Promise<void> {
  const { bench, request } = work;
  const { camera, cover: front } = bench.rig;
  const { limits } = camera;
  const setup = await camera.configure(given({ gain: limits.gain?.min }), signal);
  work.gain = setup.gain;
  const covered: CoveredLevel[] = [];
  const shortest = limits.exposureSeconds.min;
  const expose = (exposureSeconds: number) =>
    camera.expose({ exposureSeconds, frameType: front ? "dark" : "light" }, signal);
  const first = await expose(shortest);
  const shape = { widthPx: first.widthPx, heightPx: first.heightPx };
  const longest = Math.min(lookSecondsMax, limits.exposureSeconds.max);
  if (front) {
    const long = await expose(longest);
    covered.push(coveredLevel(first), coveredLevel(long));
    // A leak may be as bright as that; the Sun itself is so at a fiftieth of the time too.
    if (litFraction(bench, first, long) > openFraction)
      checkCovered(bench, first, await expose(Math.max(shortest, longest / 50)));
  } else covered.push(levelWithoutCover(first));

  const sun = sunFromSite(bench.clock.nowMs(), bench.site);
  const kept = bench.findings.cameraOnSky;
  const nominal =
    (Math.atan((limits.pixelMicron * setup.binning) / 1000 / bench.optics.focalLengthMm) * 180 * 3600) /
    Math.PI;
  // A matrix kept from other binning or another reducer is of no use.
  const keptFits =
    kept !== undefined && Math.abs(kept.arcsecPerPx / nominal - 1) < radiusTolerance.fromOptics;
  const arcsecPerPx = keptFits ? kept.arcsecPerPx : nominal;
  const discRadiusPx = sun.semidiameterArcsec / arcsecPerPx;
  checkFrame(shape, discRadiusPx);
  if (keptFits) {
    work.camera = kept;
    work.cameraUnproved = true;
  }
  const { lightRate, clearestRate } = bench.findings;
  const rateNow = (rate: LightRate | undefined) =>
    rate?.gain === setup.gain ? rateAtAltitude(rate, sun.altitudeDegrees) : undefined;
  const rateLast = rateNow(lightRate.none);
  const topAdu = topCodeAdu(bench);
  work.frameTaker = new FrameTaker({
    camera,
    uniform: () => bench.random.uniform(),
    shape,
    discRadiusPx,
    radiusToleranceFraction: keptFits ? radiusTolerance.fromCalibration : radiusTolerance.fromOptics,
    // Below 25 degrees refraction squeezes the disc by up to some percent of its diameter.
    flattening:
      sun.trueAltitudeDegrees < 25
        ? refractionFlattening(sun.trueAltitudeDegrees, sun.semidiameterArcsec / 3600)
        : 0,
    covered,
    topCodeAdu: topAdu,
    exposureSecondsMax: longest * Math.min(1, (0.05 * topAdu) / darkBelowAdu(covered, longest)),
    edgeLimit: edgeLimit(
      rateNow(clearestRate?.none),
      request.brightnessTripFactor,
      request.edgeAduPerSecondMax,
    ),
    exposureSecondsGuess: rateLast && (0.5 * topAdu) / rateLast,
    onLight: ({ edgeAduPerSecond }, pedestal) => {
      bench.findings.lightSeen = { edgeAduPerSecond, pedestalAdu: pedestal };
    },
  });
}

/** How far the brightest of a frame is above what a frame of the shortest exposure shows, of full scale. */
function litFraction(bench: CentreWork["bench"], shortest: Frame, frame: Frame): number {
  const levelAdu = quantileAdu(countCodes(shortest.pixelsAdu), 0.5)!;
  const brightAdu = quantileAdu(countCodes(frame.pixelsAdu), 0.98)!;
  return (brightAdu - levelAdu) / (topCodeAdu(bench) - levelAdu);
}

/** Pointed near the Sun, behind a cover that says it is closed. @throws UnsafeError when the frame is full of light */
function checkCovered(bench: CentreWork["bench"], shortest: Frame, frame: Frame): void {
  const fraction = litFraction(bench, shortest, frame);
  if (fraction < openFraction) return;
  const why = `a frame of ${frame.exposureSeconds} s behind the cover, which says that it is closed, is lit to ${(100 * fraction).toFixed(0)} % of full scale`;
  contradictCover(bench.front, why);
  throw new UnsafeError(
    "COVER_STANDS_OPEN",
    why,
    "Keep everybody away from the eyepiece and the finder, close the cover by hand and see why it says what it says.",
  );
}

/** @param clearest the brightest that the bare Sun was in earlier runs, brought to the present altitude [adu/s] */
function edgeLimit(clearest: number | undefined, factor: number, allowed: number | undefined) {
  const byHistory = {
    aduPerSecond: (clearest ?? Infinity) * factor,
    because: `${factor} times this rig's history`,
  };
  const byFile = { aduPerSecond: allowed ?? Infinity, because: "the rig file" };
  const lower = byFile.aduPerSecond < byHistory.aduPerSecond ? byFile : byHistory;
  return Number.isFinite(lower.aduPerSecond) ? lower : undefined;
}

function checkFrame(shape: { widthPx: number; heightPx: number }, discRadiusPx: number): void {
  const shortSide = Math.min(shape.widthPx, shape.heightPx);
  const size = `${shape.widthPx} × ${shape.heightPx} px`;
  if (shortSide < 64)
    throw new FrameTooSmallError(`a frame of ${size} is too small to measure a limb on (least: 64 px)`);
  if (shortSide < 0.16 * discRadiusPx) {
    throw new FrameTooSmallError(
      `a frame of ${size} shows less than a twelfth of the disc's diameter (${(2 * discRadiusPx).toFixed(0)} px)`,
    );
  }
  if (discRadiusPx < 12)
    throw new FrameTooSmallError(`the disc is only ${(2 * discRadiusPx).toFixed(0)} px across on ${size}`);
}

/** The first uncovered frame is the shortest there is; a dark one means nothing wrong. @throws TooBrightError */
export async function openCover({ bench, frameTaker }: CentreWork, signal: AbortSignal): Promise<void> {
  await uncover(bench, signal);
  const look = await frameTaker.firstLight(signal);
  bench.note("first light", { seen: look.seen, exposureSeconds: look.exposureSeconds });
}
