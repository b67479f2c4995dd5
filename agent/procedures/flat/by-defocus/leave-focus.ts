import type { Frame } from "../../../../drivers/roles/camera.ts";
import { blurRadius } from "../../../imaging/defocus/blur-radius.ts";
import { blurRadiusMostPx, litFraction } from "../../../imaging/defocus/defocus-room.ts";
import { runSubstep } from "../../run-step.ts";
import { StepError } from "../../step-error.ts";
import { tuneExposure } from "../../tune-exposure/tune-exposure.ts";
import type { DefocusWork } from "./defocus-work.ts";
import { exposePair, litPixelMask, meanOfPair } from "./focus.ts";
import { approachPosition, longerTravel } from "./focus-travel.ts";
import { solveLight, worstLeftover } from "./light.ts";
import { exposeShortRound } from "./looks.ts";

/** Of the travel, where the rig's own pattern is seen without the Sun's fine structure. */
const farOfTravel = 0.5;
/** Of the travel, where the blur is still small enough to be measured against the sharp picture; doubled while too small. */
const nearOfTravel = 1 / 128;
/** Radii of blur that can be measured [px], the upper one a share of the frame's short side. */
const measurable = { leastPx: 2.5, mostOfSide: 0.05 };
/** So many times farther out than the flat shadows are looked at again. */
const fartherTimes = 1.6;
/** Of the most blur that the disc allows, tried one after the other: no more than needed, as dust shadows shrink with it. */
const tries = [0.15, 0.22, 0.32, 0.48, 0.7, 1];
/** Leftover structure of this share of the flat's noise is enough; at the last try all of it is. */
const enoughOfLimit = 0.25;

/**
 * Drives the focuser away, to the side with more travel, until what is left of the Sun lies below the noise of the
 * flat to be. How much a step blurs is measured first, against the picture in focus.
 * @throws StepError when the travel ends, or the disc's edge comes into the light, before that
 */
export async function moveOutOfFocus(work: DefocusWork, signal: AbortSignal): Promise<void> {
  const { bench, request } = work;
  const focuser = bench.rig.focuser!;
  const home = work.homeSteps!;
  const travel = longerTravel(home, focuser.limits.positionSteps);
  const pxPerStep = await measureBlur(work, travel, signal);
  const mostPx = blurRadiusMostPx(work);
  const reachPx = pxPerStep * travel.steps;
  const radii = [...new Set(tries.map((share) => Math.min(share * mostPx, reachPx)))];
  let remaining = "";
  for (const [k, radiusPx] of radii.entries()) {
    bench.progress({ what: "leaving focus", done: k, of: radii.length });
    const steps = Math.round(home + travel.side * Math.min(travel.steps, radiusPx / pxPerStep));
    await approachPosition(work.focus!.approach, focuser, steps, signal);
    const { levelFraction, frames } = request;
    const tuneRequest = { blur: "defocus", levelFraction, seriesSeconds: 5 * frames } as const;
    work.tuned = await runSubstep(tuneExposure, { bench, request: tuneRequest }, signal);
    const { surface, leftover } = solveLight(work, await exposeShortRound(work, signal), radiusPx);
    const worst = worstLeftover(leftover);
    const limit = surface.pixelSigma / Math.sqrt(request.frames);
    bench.note("out of focus", { steps, blurRadiusPx: radiusPx, leftover, limit });
    work.place = { steps, blurRadiusPx: radiusPx, leftover };
    if (!worst || worst.rms <= (k === radii.length - 1 ? 1 : enoughOfLimit) * limit) {
      const lit = litFraction(work, radiusPx);
      return bench.note("blurred enough", { steps, blurRadiusPx: radiusPx, litFraction: lit });
    }
    remaining =
      `${(100 * worst.rms).toFixed(2)} % rms in blocks of ${worst.sidePx} px, ` +
      `and the flat's own noise will be ${(100 * limit).toFixed(2)} %`;
  }
  const end =
    reachPx < mostPx
      ? `at the end of the focuser's travel (${focuser.limits.positionSteps.min} to ${focuser.limits.positionSteps.max} steps)`
      : "with as much blur as the disc's edge allows";
  throw new StepError(
    "DEFOCUS_TOO_WEAK",
    `${end} the Sun still shows structure: ${remaining}`,
    "Choose a quieter part of the disc or a day without active regions, or take the flat by `diffuser` or `drift`.",
  );
}

/** Radius of the blur that a step makes [px]. @throws StepError when the picture does not blur as the focuser moves */
async function measureBlur(
  work: DefocusWork,
  { side, steps: travelSteps }: { readonly side: 1 | -1; readonly steps: number },
  signal: AbortSignal,
): Promise<number> {
  const { bench, shape } = work;
  const focuser = bench.rig.focuser!;
  const { tuned, approach, picture } = work.focus!;
  const goTo = async (steps: number) => {
    const to = Math.round(work.homeSteps! + side * steps);
    await approachPosition(approach, focuser, to, signal);
    return { frames: await exposePair(work, tuned, signal), moved: Math.abs(to - work.homeSteps!) };
  };
  const far = await goTo(farOfTravel * travelSteps);
  const pattern = meanOfPair(far.frames, tuned);
  const mostPx = measurable.mostOfSide * Math.min(shape.widthPx, shape.heightPx);
  const radiusOf = (frames: readonly [Frame, Frame]) => {
    const usePx = litPixelMask(work, tuned, [...far.frames, ...frames]);
    const blurred = meanOfPair(frames, tuned);
    const over = (levels: Float32Array) =>
      levels.map((value, i) => (usePx[i] === 1 ? value / pattern[i]! : 0));
    // Where the travel is short the far picture still shows the Sun, and of a small disc it shows hardly anything:
    // then the pattern is left in, and the disc's edge counts.
    const unclippedPx = litPixelMask(work, tuned, frames, "dark too");
    const found =
      blurRadius(over(picture), over(blurred), usePx, shape, mostPx) ??
      blurRadius(picture, blurred, unclippedPx, shape, mostPx);
    return found?.radiusPx;
  };
  let before: { readonly moved: number; readonly radiusPx: number } | undefined;
  for (let steps = nearOfTravel * travelSteps; steps <= farOfTravel * travelSteps; steps *= 2) {
    const { frames, moved } = await goTo(steps);
    const radiusPx = radiusOf(frames);
    bench.note("blur measured", { steps: moved, radiusPx });
    // From one place to the next: where focus itself is to a few steps, play included, does not matter then.
    if (before)
      return radiusPx === undefined
        ? before.radiusPx / before.moved
        : (radiusPx - before.radiusPx) / (moved - before.moved);
    if (radiusPx !== undefined && radiusPx >= measurable.leastPx) before = { moved, radiusPx };
  }
  if (before) return before.radiusPx / before.moved;
  throw new StepError(
    "BLUR_NOT_MEASURED",
    "the picture of the Sun did not blur as an open pupil out of focus blurs it while the focuser moved",
    "Look whether the focuser moves, and whether the Sun was in focus to begin with.",
  );
}

/** A few frames from farther out, or half way back where there is no travel left: dust shadows change on the way. */
export async function exposeShadowFrames(work: DefocusWork, signal: AbortSignal): Promise<void> {
  const { bench, tuned, place } = work;
  const focuser = bench.rig.focuser!;
  const home = work.homeSteps!;
  const { min, max } = focuser.limits.positionSteps;
  const outer = Math.round(home + fartherTimes * (place!.steps - home));
  const steps = outer >= min && outer <= max ? outer : Math.round((home + place!.steps) / 2);
  await approachPosition(work.focus!.approach, focuser, steps, signal);
  const pairs = [await exposePair(work, tuned!, signal), await exposePair(work, tuned!, signal)] as const;
  const [a, b] = pairs.map((pair) => meanOfPair(pair, tuned!)) as [Float32Array, Float32Array];
  work.otherPlace = {
    steps,
    picture: a.map((value, i) => (value + b[i]!) / 2),
    litPx: litPixelMask(work, tuned!, pairs.flat()),
  };
}
