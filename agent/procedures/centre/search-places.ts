import type { SkyOffset } from "../../sky/tangent-plane.ts";
import { distanceArcsec } from "./aim.ts";

/** A place looked at, with what was seen there. */
export interface SeenPlace extends SkyOffset {
  readonly rateAduPerSecond: number;
  /** False for frames that showed nothing above noise. */
  readonly lit: boolean;
}

/**
 * Distance between places of a square grid so that no disc slips through: every point of the sky is then within
 * the disc's radius and most of half a frame of some place [arcsec].
 */
export function searchStepArcsec(discRadiusArcsec: number, frameShortSideArcsec: number): number {
  return Math.SQRT2 * (discRadiusArcsec + 0.35 * frameShortSideArcsec) * 0.9;
}

/** The places of the grid within the bound, nearest first: a widening search. The first is the expected place. */
export function searchPlaces(stepArcsec: number, boundArcsec: number): SkyOffset[] {
  const reach = Math.floor(boundArcsec / stepArcsec);
  const places: SkyOffset[] = [];
  for (let i = -reach; i <= reach; i++) {
    for (let k = -reach; k <= reach; k++) {
      const place = { eastArcsec: i * stepArcsec, northArcsec: k * stepArcsec };
      if (distanceArcsec(place, origin) <= boundArcsec) places.push(place);
    }
  }
  return places.sort((a, b) => distanceArcsec(a, origin) - distanceArcsec(b, origin) || turn(a) - turn(b));
}

const origin: SkyOffset = { eastArcsec: 0, northArcsec: 0 };
const turn = (a: SkyOffset) => Math.atan2(a.northArcsec, a.eastArcsec);

/**
 * Where to look next: beside the brightest place once the sky's glow tells the way, else the next of the widening
 * search; undefined when all were seen.
 */
export function nextSearchPlace(
  places: readonly SkyOffset[],
  seen: readonly SeenPlace[],
  stepArcsec: number,
): SkyOffset | undefined {
  const left = places.filter((place) => seen.every((one) => distanceArcsec(one, place) > 0.5 * stepArcsec));
  const guide = glowGuide(seen);
  const beside = guide && left.filter((place) => distanceArcsec(place, guide) < 1.6 * stepArcsec);
  if (!guide || !beside || beside.length === 0) return left[0];
  const uphill = slopeAt(seen);
  const gain = (place: SkyOffset) =>
    uphill.eastArcsec * (place.eastArcsec - guide.eastArcsec) +
    uphill.northArcsec * (place.northArcsec - guide.northArcsec);
  return beside.reduce((best, place) => (gain(place) > gain(best) ? place : best));
}

/** The brightest lit place, when the places differ enough to point somewhere: scattered light falls off the Sun. */
function glowGuide(seen: readonly SeenPlace[]): SeenPlace | undefined {
  const lit = seen.filter((place) => place.lit);
  if (lit.length < 2) return undefined;
  const brightest = lit.reduce((best, place) =>
    place.rateAduPerSecond > best.rateAduPerSecond ? place : best,
  );
  const faintest = lit.reduce((best, place) =>
    place.rateAduPerSecond < best.rateAduPerSecond ? place : best,
  );
  return brightest.rateAduPerSecond > 1.15 * faintest.rateAduPerSecond ? brightest : undefined;
}

/** Direction in which the logarithm of the glow grows: least squares of a plane through the lit places. */
function slopeAt(seen: readonly SeenPlace[]): SkyOffset {
  const lit = seen.filter((place) => place.lit);
  const n = lit.length;
  const mean = (of: (place: SeenPlace) => number) => lit.reduce((total, place) => total + of(place) / n, 0);
  const east = mean((p) => p.eastArcsec);
  const north = mean((p) => p.northArcsec);
  const log = mean((p) => Math.log(p.rateAduPerSecond));
  let [ee, nn, en, el, nl] = [1, 1, 0, 0, 0]; // the ones keep two places in a row solvable
  for (const p of lit) {
    const e = p.eastArcsec - east;
    const k = p.northArcsec - north;
    const l = Math.log(p.rateAduPerSecond) - log;
    ee += e * e;
    nn += k * k;
    en += e * k;
    el += e * l;
    nl += k * l;
  }
  const determinant = ee * nn - en * en;
  return { eastArcsec: (el * nn - nl * en) / determinant, northArcsec: (nl * ee - el * en) / determinant };
}
