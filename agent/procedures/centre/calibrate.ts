import { type CameraMatrix, calibrateCamera } from "../../imaging/disc/camera-on-sky.ts";
import type { PointPx } from "../../imaging/disc/circle-fit.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import type { SkyOffset } from "../../sky/tangent-plane.ts";
import { addOffsets, scaleOffset } from "./aim.ts";
import { NotCentredError } from "./centre-errors.ts";
import type { CentreWork } from "./centre-work.ts";
import type { LimbObservation } from "./frame-taker.ts";

/** Directions to try: east and north, or against them, until the limb stays in view. */
const tries = [
  [1, 1],
  [-1, -1],
  [1, -1],
  [-1, 1],
] as const;

/** A rig file's focal length is right to a few percent, or the disc would not have been recognised. */
const scaleMismatchMax = 0.09;

/**
 * Two nudges, east and north, tell the camera's scale, angle and parity.
 * A first nudge in the same directions takes up the play of both axes and is not counted.
 * @throws NotCentredError when no pair of nudges gives a credible camera
 */
export async function calibrateMount(work: CentreWork, signal: AbortSignal): Promise<void> {
  const { frameTaker, bench } = work;
  const { widthPx, heightPx } = frameTaker.shape;
  const semidiameterArcsec = sunFromSite(bench.clock.nowMs(), bench.site).semidiameterArcsec;
  const nominal = semidiameterArcsec / frameTaker.discRadiusPx;
  const shortSideArcsec = Math.min(widthPx, heightPx) * nominal;
  const reasons: string[] = [];
  for (const share of [0.15, 0.08]) {
    const nudgeArcsec = Math.min(600, Math.max(30, share * shortSideArcsec));
    for (const [east, north] of tries) {
      const result = await measureByNudges(work, east * nudgeArcsec, north * nudgeArcsec, signal);
      if (typeof result === "string") {
        reasons.push(result);
        continue;
      }
      const off = result.arcsecPerPx / nominal - 1;
      if (Math.abs(off) > scaleMismatchMax) {
        reasons.push(`the scale came out ${(off * 100).toFixed(0)} % off the optics'`);
        continue;
      }
      saveCamera(work, result, semidiameterArcsec);
      return;
    }
  }
  throw new NotCentredError(
    `the camera's angle and scale could not be measured by nudging the mount: ${[...new Set(reasons)].join("; ")}`,
  );
}

async function measureByNudges(
  work: CentreWork,
  eastArcsec: number,
  northArcsec: number,
  signal: AbortSignal,
): Promise<CameraMatrix | string> {
  const { aim } = work;
  const playArcsec = Math.min(150, Math.abs(eastArcsec));
  const moves: SkyOffset[] = [
    { eastArcsec: Math.sign(eastArcsec) * playArcsec, northArcsec: Math.sign(northArcsec) * playArcsec },
    { eastArcsec, northArcsec: 0 },
    { eastArcsec: 0, northArcsec },
  ];
  const places: PointPx[] = [];
  let done: SkyOffset = { eastArcsec: 0, northArcsec: 0 };
  for (const move of moves) {
    await aim.moveBy(move, signal);
    done = addOffsets(done, move);
    const look: LimbObservation | undefined = await work.lookForLimb(signal);
    if (!look) {
      await aim.moveBy(scaleOffset(done, -1), signal);
      return "the limb left the frame";
    }
    places.push(look.disc);
  }
  const [start, afterEast, afterNorth] = places as [PointPx, PointPx, PointPx];
  const result = calibrateCamera(
    { move: moves[1]!, shiftPx: shiftBetween(start, afterEast) },
    { move: moves[2]!, shiftPx: shiftBetween(afterEast, afterNorth) },
  );
  return result.accepted ? result.camera : result.reason;
}

export function shiftBetween(from: PointPx, to: PointPx): PointPx {
  return { xPx: to.xPx - from.xPx, yPx: to.yPx - from.yPx };
}

function saveCamera(work: CentreWork, camera: CameraMatrix, semidiameterArcsec: number): void {
  work.camera = camera;
  work.cameraUnproved = false;
  const whole = work.limb && work.limb.disc.arcDegrees > 240 ? work.limb.disc.radiusPx : undefined;
  work.frameTaker.learnRadius(whole ?? semidiameterArcsec / camera.arcsecPerPx, whole ? 0.015 : 0.04);
  work.bench.note("camera on the sky measured", {
    arcsecPerPx: camera.arcsecPerPx,
    angleDegrees: camera.angleDegrees,
    parity: camera.parity,
  });
}
