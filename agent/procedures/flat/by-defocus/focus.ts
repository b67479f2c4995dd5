import type { Frame } from "../../../../drivers/roles/camera.ts";
import { measureSharpness, type Sharpness } from "../../../imaging/defocus/sharpness.ts";
import { findDisc } from "../../../imaging/disc/disc.ts";
import { fillInto, mapInto } from "../../../imaging/numerics/map-into.ts";
import { setFlatGain } from "../../camera-ready.ts";
import { exposeTuned } from "../../frame-series.ts";
import { leaveRigIdle, tryAll } from "../../leave-rig.ts";
import { runSubstep } from "../../run-step.ts";
import type { StepOutcome } from "../../step.ts";
import { StepError } from "../../step-error.ts";
import { tuneExposure } from "../../tune-exposure/tune-exposure.ts";
import type { TunedExposure } from "../../tune-exposure/tune-request.ts";
import { readUnhealthyPixels } from "../../unhealthy-px.ts";
import type { FlatFound } from "../flat-request.ts";
import type { DefocusWork } from "./defocus-work.ts";
import { type Approach, approachPosition } from "./focus-travel.ts";

/** Sharpness that is this near to what it was, or within its uncertainty, is the same focus. */
const sameSharpness = 0.06;
/** Less of it than this is another focus; between the two the air may have become unsteadier. */
const sharpnessLeast = 0.75;
/** Structure that is not so many times its uncertainty can't tell focus. */
const significant = 8;

/**
 * Sharpness of the Sun in focus, and from which side the focuser has to come for it: play in its gear makes two
 * places of one position. @throws StepError when the Sun shows nothing to focus by
 */
export async function measureFocus(work: DefocusWork, signal: AbortSignal): Promise<void> {
  const { bench } = work;
  const focuser = bench.rig.focuser!;
  await setFlatGain(bench, signal);
  const tuned = await runSubstep(
    tuneExposure,
    { bench, request: { blur: "none", levelFraction: 0.7, toleranceFraction: 0.03 } },
    signal,
  );
  const steps = await focuser.positionSteps(signal);
  work.homeSteps = steps;
  const frames = await exposePair(work, tuned, signal);
  const found = sharpnessOf(work, tuned, frames);
  if (found.rms < significant * found.sigma)
    throw new StepError(
      "FOCUS_NOT_SEEN",
      `the Sun's fine structure is ${percent(found.rms)} rms of the level at ${steps} steps, and ` +
        `${percent(significant * found.sigma)} is wanted, so that focus could not be told when it is put back`,
      "Focus by hand first, or wait for steadier air; a flat by `diffuser` leaves focus alone.",
      false,
      { reached: found.rms, wanted: significant * found.sigma, steps },
    );
  work.sun = frames[0];
  findCentre(work, tuned, frames[0]);
  const seen: { approach: Approach; figure: Sharpness }[] = [];
  for (const approach of ["below", "above"] as const) {
    // Takes up the play from that side and comes back.
    await approachPosition(approach === "below" ? "above" : "below", focuser, steps, signal);
    await approachPosition(approach, focuser, steps, signal);
    const figure = sharpnessOf(work, tuned, await exposePair(work, tuned, signal));
    seen.push({ approach, figure });
  }
  // Sharpness changes slowly near focus: the nearer of both counts, however near the other is.
  seen.sort((a, b) => apart(a.figure, found) - apart(b.figure, found));
  const { approach } = seen[0]!;
  work.focus = { steps, approach, tuned, sharpness: found, picture: meanOfPair(frames, tuned) };
  bench.note("focus", {
    steps,
    approach,
    sharpness: found.rms,
    sharpnessFrom: Object.fromEntries(seen.map((one) => [one.approach, one.figure.rms])),
  });
}

/** Back to where focus was, by position and then by sharpness; from the other side too, if that is what it takes. */
export async function returnToFocus(work: DefocusWork, signal: AbortSignal): Promise<void> {
  const { bench } = work;
  const focuser = bench.rig.focuser!;
  const { steps, approach, tuned, sharpness: before } = work.focus!;
  const other = approach === "below" ? "above" : "below";
  let best: { side: Approach; sharpness: Sharpness } = { side: approach, sharpness: { rms: 0, sigma: 0 } };
  let last = approach;
  for (const side of [approach, other] as const) {
    bench.progress({ what: "putting focus back", done: 0, of: 1 });
    await approachPosition(side, focuser, steps, signal);
    last = side;
    const now = sharpnessOf(work, tuned, await exposePair(work, tuned, signal));
    bench.note("focus put back", { steps, approach: side, sharpness: now.rms, before: before.rms });
    work.focusTries.push({ steps: await focuser.positionSteps(signal), approach: side, sharpness: now.rms });
    if (now.rms > best.sharpness.rms) best = { side, sharpness: now };
    if (isSame(now, before)) break;
  }
  if (best.side !== last) await approachPosition(best.side, focuser, steps, signal);
  work.sharpnessAfter = best.sharpness;
}

/** After the flat is kept: what was captured is not lost for that. @throws StepError when the Sun is not as sharp as before */
export async function confirmFocus({ focus, sharpnessAfter, focusTries }: DefocusWork): Promise<void> {
  const { steps, sharpness } = focus!;
  const [reached, wanted] = [sharpnessAfter!.rms, sharpnessLeast * sharpness.rms];
  if (reached >= wanted) return;
  const tried = focusTries.map(
    (one) => `${percent(one.sharpness)} at ${one.steps} steps from ${one.approach}`,
  );
  throw new StepError(
    "FOCUS_NOT_RESTORED",
    `the focuser is back at ${steps} steps, but the Sun's fine structure is ${percent(reached)} rms of the level, ` +
      `and ${percent(wanted)} is wanted, three quarters of the ${percent(sharpness.rms)} before; tried: ${tried.join(", ")}`,
    "Focus by hand, and look whether the focuser slips.",
    false,
    { reached, wanted, before: sharpness.rms, tried: focusTries },
  );
}

const percent = (fraction: number) => `${(100 * fraction).toFixed(2)} %`;

/** Focus is put back whatever happened; the light is shut out first if the step failed. */
export async function leaveDefocus(
  { bench, request, homeSteps, focus }: DefocusWork,
  ended: StepOutcome<FlatFound>["ended"],
  signal: AbortSignal,
): Promise<void> {
  const { focuser } = bench.rig;
  await tryAll([
    () => leaveRigIdle(bench, ended === "completed" ? request.coverAfter : "closed", signal),
    async () => {
      if (!focuser || homeSteps === undefined) return;
      await focuser.ensureStopped(signal);
      if ((await focuser.positionSteps(signal)) !== homeSteps)
        await approachPosition(focus?.approach ?? "below", focuser, homeSteps, signal);
    },
  ]);
}

/** A disc whose limb is in the frame says itself where its centre is; one without it lies where the mount has centred it. */
function findCentre(work: DefocusWork, { pedestalAdu, topAdu }: TunedExposure, frame: Frame): void {
  const random = work.bench.random.fork("disc");
  const sighting = findDisc(frame.pixelsAdu, work.shape, {
    pedestalAdu,
    darkBelowAdu: 0.01 * topAdu,
    radius: { radiusPx: work.discRadiusPx, toleranceFraction: 0.03 },
    uniform: () => random.uniform(),
  });
  if (sighting.seen !== "limb" || sighting.disc.arcDegrees < 90) return;
  work.disc = { x: sighting.disc.xPx, y: sighting.disc.yPx };
  work.discRadiusPx = sighting.disc.radiusPx;
}

export async function exposePair(
  { bench }: DefocusWork,
  tuned: TunedExposure,
  signal: AbortSignal,
): Promise<[Frame, Frame]> {
  const one = () => exposeTuned(bench, tuned, "light", signal);
  return [await one(), await one()];
}

/** Levels above the pedestal. */
export function meanOfPair([a, b]: readonly [Frame, Frame], { pedestalAdu }: TunedExposure): Float32Array {
  return mapInto(
    new Float32Array(a.pixelsAdu.length),
    a.pixelsAdu,
    (value, i) => (value + b.pixelsAdu[i]!) / 2 - pedestalAdu,
  );
}

function sharpnessOf(work: DefocusWork, tuned: TunedExposure, frames: readonly [Frame, Frame]): Sharpness {
  const [a, b] = frames.map(({ pixelsAdu }) =>
    mapInto(new Float32Array(pixelsAdu.length), pixelsAdu, (value) => value - tuned.pedestalAdu),
  ) as [Float32Array, Float32Array];
  // Pixels that darks have told of since would change the figure: all count, before and after.
  return measureSharpness(a, b, litPixelMask(work, tuned, frames, "all"), work.shape);
}

/** 1 where no frame is clipped, every frame is lit unless dark pixels count too, and the pixel is healthy unless all count. */
export function litPixelMask(
  { bench, shape }: DefocusWork,
  tuned: TunedExposure,
  frames: readonly Frame[],
  which: "healthy" | "all" | "dark too" = "healthy",
): Uint8Array {
  const pxCount = shape.widthPx * shape.heightPx;
  const unhealthyPx = which === "all" ? undefined : readUnhealthyPixels(bench, pxCount);
  const darkestAdu =
    which === "dark too" ? -1 : tuned.pedestalAdu + 0.15 * (tuned.topAdu - tuned.pedestalAdu);
  return fillInto(new Uint8Array(pxCount), (i) =>
    unhealthyPx?.[i] !== 1 &&
    frames.every(({ pixelsAdu }) => pixelsAdu[i]! > darkestAdu && pixelsAdu[i]! < tuned.topAdu)
      ? 1
      : 0,
  );
}

function apart(a: Sharpness, b: Sharpness): number {
  return Math.abs(Math.log(Math.max(1e-9, a.rms) / b.rms));
}

function isSame(now: Sharpness, before: Sharpness): boolean {
  return (
    Math.abs(now.rms - before.rms) <=
    Math.max(sameSharpness * before.rms, 3 * Math.hypot(now.sigma, before.sigma))
  );
}
