import { startStopwatch } from "../../../../drivers/kit/stopwatch.ts";
import type { Frame } from "../../../../drivers/roles/camera.ts";
import { lengthArcsec, type SkyOffset } from "../../../../drivers/roles/mount-sky.ts";
import { type Aim, addOffsets, distanceArcsec, scaleOffset, subtractOffset } from "../../centre/aim.ts";
import type { Workbench } from "../../step.ts";

/** Displacements on a figure that fills its square evenly and comes back to where it began. */
const turns = { east: 5, north: 7 };
/** A frame begins when the mount is this far along its way to the next point. */
const underWayShare = 0.4;
const lookEverySeconds = 0.2;
/** A mount whose coordinates do not show small moves is taken to be under way by then [s]. */
const unseenSecondsMax = 3;

/**
 * Where the line of sight goes from the disc's centre, point by point: a figure of Lissajous of 5 : 7 in a square whose
 * corners lie on the radius. It crosses itself all over, so that no slow change of the sky goes with one direction.
 */
export function driftPath(pointCount: number, radiusArcsec: number): SkyOffset[] {
  const half = radiusArcsec / Math.SQRT2;
  return Array.from({ length: pointCount }, (_, k) => {
    const phase = (2 * Math.PI * (k + 0.5)) / pointCount;
    return {
      eastArcsec: half * Math.sin(turns.east * phase),
      northArcsec: half * Math.sin(turns.north * phase),
    };
  });
}

export interface MovingFrame {
  readonly frame: Frame;
  /** Where the mount said it pointed in the middle of the exposure, from the ephemeris' Sun. */
  readonly at: SkyOffset;
  /** How fast it moved on its way to there, by its own account. */
  readonly arcsecPerSecond: number;
}

/** Takes one frame while the mount is on its way to a place; ends when both have ended, whatever happened. */
export async function exposeWhileMoving(
  { rig, clock }: Workbench,
  aim: Aim,
  to: SkyOffset,
  exposureSeconds: number,
  signal: AbortSignal,
): Promise<MovingFrame> {
  const start = await aim.startNudge(to, signal);
  const by = subtractOffset(to, start);
  const broken = new AbortController();
  let over = false;
  const leg = aim.mount.nudge(by, AbortSignal.any([signal, broken.signal])).finally(() => {
    over = true;
  });
  leg.catch(() => {}); // awaited below, in any case
  try {
    const elapsedSeconds = startStopwatch(clock);
    let before = start;
    let seconds = 0;
    while (!over && distanceArcsec(before, start) < underWayShare * lengthArcsec(by)) {
      await clock.sleep(lookEverySeconds, signal);
      before = await aim.reported(signal);
      seconds = elapsedSeconds();
      if (distanceArcsec(before, start) < 1 && seconds > unseenSecondsMax) break;
    }
    const arcsecPerSecond = seconds > 0 ? distanceArcsec(before, start) / seconds : 0;
    const frame = await rig.camera.expose({ exposureSeconds, frameType: "flat" }, signal);
    const at = scaleOffset(addOffsets(before, await aim.reported(signal)), 1 / 2);
    await leg;
    return { frame, at, arcsecPerSecond };
  } finally {
    broken.abort(new Error("the frame on the way failed"));
    await leg.catch(() => {});
  }
}
