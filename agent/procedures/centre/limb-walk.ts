import { moveToCentre } from "../../imaging/disc/camera-on-sky.ts";
import { sunFromSite } from "../../sky/sun-from-site.ts";
import type { SkyOffset } from "../../sky/tangent-plane.ts";
import { addOffsets, distanceArcsec, scaleOffset } from "./aim.ts";
import { NotCentredError } from "./centre-errors.ts";
import type { CentreWork } from "./centre-work.ts";
import { type LimbView, solveLimbViews } from "./limb-walk-solve.ts";

const unit = (eastArcsec: number, northArcsec: number): SkyOffset => ({ eastArcsec, northArcsec });
/** Opposite limbs one after the other, and the first once more: it shows whether the mount repeats. */
const directions = [unit(1, 0), unit(-1, 0), unit(0, 1), unit(0, -1), unit(1, 0)];
const roundsMax = 3;

export interface WalkEnd {
  /** Where the mount must say that it points. */
  readonly centre: SkyOffset;
  readonly sdArcsec: number;
  /** What is left after the last move, as the mount reports it [arcsec]. */
  readonly leftArcsec: number;
}

/**
 * For a disc that shows no limb when it is centred: measures the limb east, west, north and south of the centre,
 * each approached from the same side, and goes to the middle.
 * @throws NotCentredError
 */
export async function measureLimbs(work: CentreWork, signal: AbortSignal): Promise<WalkEnd> {
  const { aim, request, bench } = work;
  const radiusArcsec = sunFromSite(bench.clock.nowMs(), bench.site).semidiameterArcsec;
  const toleranceArcsec = request.toleranceFraction * 2 * radiusArcsec;
  let centre = centreFromLast(work);
  let sdArcsec = Number.POSITIVE_INFINITY;
  for (let round = 1; sdArcsec > 0.3 * toleranceArcsec; round++) {
    if (round > roundsMax) {
      throw new NotCentredError(
        `views of opposite limbs disagree by ${sdArcsec.toFixed(1)}″ after ${roundsMax} rounds (allowed: ${(0.3 * toleranceArcsec).toFixed(1)}″); the mount does not repeat its pointing`,
      );
    }
    const views: LimbView[] = [];
    for (const [index, towards] of directions.entries()) {
      bench.progress({ what: "measuring opposite limbs", done: index, of: directions.length });
      const seen = await viewLimb(
        work,
        addOffsets(centre, scaleOffset(towards, radiusArcsec)),
        towards,
        signal,
      );
      views.push({ towards, centre: seen });
      if (round === 1 && index === 0) centre = seen; // better than from where the search happened to end
    }
    const solution = solveLimbViews(views);
    if (!solution) throw new NotCentredError("the views of opposite limbs do not define a centre");
    ({ centre, sdArcsec } = solution);
    bench.note("opposite limbs measured", { round, sdArcsec });
  }
  await aim.slewFromSameSide(centre, signal);
  let leftArcsec = distanceArcsec(await aim.reported(signal), centre);
  if (leftArcsec > 0.2 * toleranceArcsec) {
    await aim.slewFromSameSide(centre, signal);
    leftArcsec = distanceArcsec(await aim.reported(signal), centre);
  }
  if (leftArcsec > 0.5 * toleranceArcsec) {
    throw new NotCentredError(`the mount stops ${leftArcsec.toFixed(1)}″ from where it is sent`);
  }
  return { centre, sdArcsec, leftArcsec };
}

/** From the limb as it was last seen. */
function centreFromLast(work: CentreWork): SkyOffset {
  return addOffsets(work.limbFrom!, moveToCentre(work.camera!, work.offsetPx(work.limb!)));
}

/** Goes where the limb should cross the frame, and looks a little further in and out if it does not. */
async function viewLimb(
  work: CentreWork,
  place: SkyOffset,
  towards: SkyOffset,
  signal: AbortSignal,
): Promise<SkyOffset> {
  const { frameTaker, aim, camera } = work;
  const shortSideArcsec = Math.min(frameTaker.shape.widthPx, frameTaker.shape.heightPx) * camera!.arcsecPerPx;
  for (const share of [0, 0.5, -0.5, 1, -1]) {
    await aim.slewFromSameSide(addOffsets(place, scaleOffset(towards, share * shortSideArcsec)), signal);
    if (!(await work.lookForLimb(signal))) continue;
    return centreFromLast(work);
  }
  throw new NotCentredError("the limb does not cross the frame where it should");
}
