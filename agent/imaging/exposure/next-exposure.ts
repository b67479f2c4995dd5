import { factorForEdge } from "./edge-forecast.ts";
import type { LevelReading } from "./frame-level.ts";
import type { Light } from "./light-estimate.ts";

/** Where the upper edge shall come to lie [adu, pedestal included]. */
export interface Band {
  readonly targetAdu: number;
  readonly toleranceAdu: number;
}

/** From what the frames so far tell of the rate: the best known one, as far as it can be trusted. */
export function nextFromRate(last: LevelReading, light: Light, band: Band): number {
  const best = light.best ?? last;
  if (!light.pedestalKnown) {
    // All of the level may be light: a jump on that assumption cannot clip, and with it the pedestal shows.
    const caution = last.edgeAdu < 0.3 * band.targetAdu ? 0.95 : 1;
    return (last.exposureSeconds * caution * band.targetAdu) / last.edgeAdu;
  }
  const closeEdge = last.edgeAdu - light.pedestalAdu > 0.7 * (band.targetAdu - light.pedestalAdu);
  if (closeEdge) return last.exposureSeconds * ratioOf(band.targetAdu, last.edgeAdu, light.pedestalAdu);
  const sure = light.rate / light.rateSigma;
  if (sure < 10) {
    const rateAtMost = Math.max(light.rate, 0) + 3 * light.rateSigma;
    return (0.7 * (band.targetAdu - light.pedestalAdu)) / rateAtMost;
  }
  const aimAdu =
    light.pedestalAdu + (band.targetAdu - light.pedestalAdu) / (1 + (sure < 100 ? 1.5 / sure : 0));
  return best.exposureSeconds * factorForEdge(best, light.pedestalAdu, light.noise, aimAdu);
}

/** The clipped part hides how bright it is; the rest does not. */
export function afterClipping(targetFraction: number, last: LevelReading, light: Light): number {
  const target = targetFraction * last.topAdu - light.pedestalAdu;
  const longestGood =
    light.best && light.best.exposureSeconds < last.exposureSeconds ? light.best : undefined;
  if (longestGood && light.pedestalKnown && light.rate > 10 * light.rateSigma) {
    const seen =
      longestGood.exposureSeconds *
      factorForEdge(longestGood, light.pedestalAdu, light.noise, light.pedestalAdu + target);
    if (seen < 0.95 * last.exposureSeconds) return seen;
  }
  let divisor = 100;
  if (last.clippedFraction < 0.4) divisor = (1.4 * (last.medianLitAdu - light.pedestalAdu)) / target;
  else if (last.clippedFraction < 0.99) divisor = 2 + 8 * last.clippedFraction;
  divisor = Math.max(1.15, divisor);
  const wanted = last.exposureSeconds / divisor;
  return longestGood && wanted <= longestGood.exposureSeconds
    ? Math.sqrt(longestGood.exposureSeconds * last.exposureSeconds)
    : wanted;
}

/** By how much the exposure must grow for the edge to come to its target. */
export function ratioOf(targetAdu: number, edgeAdu: number, pedestalAdu: number): number {
  return (targetAdu - pedestalAdu) / Math.max(1, edgeAdu - pedestalAdu);
}
