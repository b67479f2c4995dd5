import { lengthArcsec } from "../../../drivers/roles/mount-sky.ts";
import { isMatrixConfirmed, moveToCentre } from "../../imaging/disc/camera-on-sky.ts";
import type { Shape } from "../../imaging/numerics/shape.ts";
import { scaleOffset } from "./aim.ts";
import { shiftBetween } from "./calibrate.ts";
import { NotCentredError } from "./centre-errors.ts";
import type { CentreWork } from "./centre-work.ts";

/** A part of the way each time: an overshoot would turn the gears round and wake their play. */
const shareOfCorrection = 0.9;
const movesMax = 16;
const calibrationsMax = 3;
/** Moves that leave more than half of the offset, as a reversal with play does once for each axis. */
const stallsMax = 4;
/** Aim for this share of the tolerance, so that noise and drift do not use it up. */
const goalShare = 0.6;
/** What play in the gears may swallow of a move [arcsec]. */
const playArcsec = 60;

/**
 * Moves the disc to the middle of the frame until two frames in a row show it there.
 * Gives up the matrix when it foretells the moves wrongly or the limb goes out of view.
 * @throws NotCentredError
 */
export async function centreDisc(work: CentreWork, signal: AbortSignal): Promise<void> {
  const { frameTaker, aim, request, bench } = work;
  const goalPx = goalShare * request.toleranceFraction * 2 * frameTaker.discRadiusPx;
  let inRow = 0;
  let lost = 0;
  let stalled = 0;
  let moves = 0;
  let beforePx: number | undefined;
  for (;;) {
    const look = await work.lookForLimb(signal);
    if (!look) {
      if (++lost === 3) return forget(work); // a cloud may pass in between
      continue;
    }
    lost = 0;
    const offset = work.offsetPx(look);
    const offPx = Math.hypot(offset.xPx, offset.yPx);
    bench.progress({ what: `centring: ${offPx.toFixed(1)} px off`, done: moves, of: movesMax });
    if (offPx <= goalPx) {
      if (++inRow === 2) {
        work.isCentred = true;
        return;
      }
      continue;
    }
    inRow = 0;
    if (beforePx !== undefined && offPx > 0.5 * beforePx && offPx > 2 * goalPx && ++stalled === stallsMax) {
      return forget(work);
    }
    if (moves === movesMax) {
      throw new NotCentredError(`the disc is still ${offPx.toFixed(1)} px off after ${moves} corrections`);
    }
    const camera = work.camera!;
    const move = scaleOffset(moveToCentre(camera, offset), shareOfCorrection);
    await aim.moveBy(move, signal);
    moves++;
    beforePx = offPx;
    if (work.cameraUnproved) {
      const after = await work.lookForLimb(signal);
      const shiftPx = after && shiftBetween(look.disc, after.disc);
      if (!shiftPx || !isMatrixConfirmed(camera, { move, shiftPx }, playArcsec)) {
        bench.note("the kept camera angle does not hold any more");
        return forget(work);
      }
      // A move of the size of the play proves nothing; the next one is looked at too.
      if (lengthArcsec(move) > 2 * playArcsec) work.cameraUnproved = false;
    }
  }
}

/** @throws NotCentredError when that has been tried often enough */
function forget(work: CentreWork): void {
  if (++work.forgotten === calibrationsMax) {
    throw new NotCentredError(
      `after ${calibrationsMax} calibrations the picture still does not follow the mount's moves`,
    );
  }
  work.camera = undefined;
  work.cameraUnproved = false;
}

/** Whether enough of the limb lies in the frame when the disc is in its middle. */
export function isLimbVisibleWhenCentred(shape: Shape, discRadiusPx: number): boolean {
  const halfWidth = shape.widthPx / 2 - 8;
  const halfHeight = shape.heightPx / 2 - 8;
  let inside = 0;
  const probes = 3600;
  for (let k = 0; k < probes; k++) {
    const angle = (2 * Math.PI * k) / probes;
    if (
      Math.abs(discRadiusPx * Math.cos(angle)) < halfWidth &&
      Math.abs(discRadiusPx * Math.sin(angle)) < halfHeight
    )
      inside++;
  }
  const arcPx = (inside / probes) * 2 * Math.PI * discRadiusPx;
  return arcPx > Math.max(160, 0.6 * Math.min(shape.widthPx, shape.heightPx));
}
