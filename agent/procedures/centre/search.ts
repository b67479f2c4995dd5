import { sunFromSite } from "../../sky/sun-from-site.ts";
import type { SkyOffset } from "../../sky/tangent-plane.ts";
import { addOffsets, knownPointingOffset, scaleOffset } from "./aim.ts";
import { SunNotFoundError } from "./centre-errors.ts";
import type { CentreWork } from "./centre-work.ts";
import type { Observation } from "./frame-taker.ts";
import { nextSearchPlace, type SeenPlace, searchPlaces, searchStepArcsec } from "./search-places.ts";

/** The disc outshines the sky beside it by far more than this, and texture and limb darkening by far less. */
const discOverSky = 20;

/**
 * Looks, and moves in a widening search until the limb is in the frame.
 * The cover stays open meanwhile: the Sun filter is in front, and the telescope is within degrees of the Sun anyway.
 * @throws SunNotFoundError
 */
export async function findLimb(work: CentreWork, signal: AbortSignal): Promise<void> {
  const { bench, request, frameTaker, aim } = work;
  const radiusArcsec = sunFromSite(bench.clock.nowMs(), bench.site).semidiameterArcsec;
  const arcsecPerPx = radiusArcsec / frameTaker.discRadiusPx;
  const shortSidePx = Math.min(frameTaker.shape.widthPx, frameTaker.shape.heightPx);
  const stepArcsec = searchStepArcsec(radiusArcsec, shortSidePx * arcsecPerPx);
  const home = knownPointingOffset(bench);
  const places = searchPlaces(stepArcsec, request.searchDegrees * 3600).map((place) =>
    addOffsets(place, home),
  );
  const mayFill = frameTaker.discRadiusPx > 0.4 * shortSidePx;
  const seen: SeenPlace[] = [];
  let brightestEdge = 0;
  let place: SkyOffset | undefined = await aim.reported(signal);
  let fullest: { place: SkyOffset; look: Observation } | undefined;
  while (place) {
    if (seen.length > 0) await aim.slewTo(place, signal);
    const look = await frameTaker.observe(signal);
    bench.progress({ what: "looking for the Sun", done: seen.length + 1, of: places.length });
    if (await work.keepIfLimb(look, signal)) return;
    brightestEdge = Math.max(brightestEdge, look.edgeAduPerSecond);
    seen.push({ ...place, rateAduPerSecond: look.rateAduPerSecond, lit: look.seen !== "dark" });
    if (look.seen === "filled" && look.rateAduPerSecond > (fullest?.look.rateAduPerSecond ?? 0)) {
      fullest = { place, look };
    }
    const darkest = Math.min(...seen.map((one) => one.rateAduPerSecond));
    if (mayFill && fullest && fullest.look.rateAduPerSecond > discOverSky * darkest) {
      if (await limbFromInside(work, fullest.place, fullest.look.rateAduPerSecond, radiusArcsec, signal))
        return;
      fullest = undefined;
    }
    place = nextSearchPlace(places, seen, stepArcsec);
  }
  throw new SunNotFoundError({
    placeCount: seen.length,
    searchDegrees: request.searchDegrees,
    brightest: seen.some((one) => one.lit)
      ? `brightest ${brightestEdge.toPrecision(3)} adu/s`
      : `nothing above noise up to ${frameTaker.exposureSeconds.toPrecision(2)} s`,
    other: frameTaker.discOfAnotherSize(),
  });
}

/** The frame was inside the disc: halve the way to a place that is surely outside until the limb shows. */
async function limbFromInside(
  work: CentreWork,
  inside: SkyOffset,
  discRate: number,
  radiusArcsec: number,
  signal: AbortSignal,
): Promise<boolean> {
  let bright = inside;
  let dark = addOffsets(inside, { eastArcsec: 2.2 * radiusArcsec, northArcsec: 0 });
  for (let halving = 0; halving < 9; halving++) {
    const middle = scaleOffset(addOffsets(bright, dark), 1 / 2);
    await work.aim.slewTo(middle, signal);
    const look = await work.frameTaker.observe(signal);
    if (await work.keepIfLimb(look, signal)) return true;
    if (look.rateAduPerSecond > discRate / discOverSky) bright = middle;
    else dark = middle;
  }
  return false;
}
