import type { NoiseLaw } from "./edge-forecast.ts";
import type { LevelReading } from "./frame-level.ts";

/** More of the lit pixels at the top than half of the edge's own share are no longer hot ones: the edge is worthless. */
export const clippedMost = 5e-4;

/** What the frames so far say about the light. */
export interface Light {
  readonly pedestalAdu: number;
  readonly pedestalKnown: boolean;
  readonly topAdu: number;
  /** Mean signal per second, and one sigma of it. */
  readonly rate: number;
  readonly rateSigma: number;
  readonly noise: NoiseLaw;
  /** The unclipped frame with the strongest signal. */
  readonly best: LevelReading | undefined;
}

/** Line through mean against exposure, or from the known pedestal; only frames of the present light count. */
export function estimateLight(known: number | undefined, all: readonly LevelReading[]): Light {
  const topAdu = Math.min(...all.map((reading) => reading.topAdu));
  const readings = all.filter((reading) => reading.clippedFraction <= clippedMost);
  const shortest = readings.reduce<LevelReading | undefined>(
    (a, b) => (a && a.exposureSeconds <= b.exposureSeconds ? a : b),
    undefined,
  );
  const best = readings.reduce<LevelReading | undefined>(
    (a, b) => (a && a.exposureSeconds > b.exposureSeconds ? a : b),
    undefined,
  );
  if (!best || !shortest)
    return {
      pedestalAdu: known ?? 0,
      pedestalKnown: known !== undefined,
      topAdu,
      rate: 0,
      rateSigma: 0,
      noise: { floorAdu2: 0, perAdu: 0 },
      best: undefined,
    };
  const longSpan = best.exposureSeconds > 1.5 * shortest.exposureSeconds;
  // The pedestal wanders by some tenths of a pixel's noise (from one frame to the next, and with temperature).
  const wander = 0.05 * Math.sqrt(shortest.noiseVarianceAdu2);
  let pedestalAdu = known ?? 0;
  let rate = (best.meanAdu - pedestalAdu) / best.exposureSeconds;
  let rateSigma = Math.hypot(best.meanSigmaAdu, wander) / best.exposureSeconds;
  if (known === undefined && longSpan) {
    const span = best.exposureSeconds - shortest.exposureSeconds;
    rate = (best.meanAdu - shortest.meanAdu) / span;
    rateSigma = Math.hypot(best.meanSigmaAdu, shortest.meanSigmaAdu, wander) / span;
    pedestalAdu = Math.min(shortest.meanAdu, Math.max(0, shortest.meanAdu - rate * shortest.exposureSeconds));
  }
  return {
    pedestalAdu,
    pedestalKnown: known !== undefined || longSpan,
    topAdu,
    rate,
    rateSigma,
    noise: noiseLaw(shortest, best, pedestalAdu, topAdu),
    best,
  };
}

/** From two frames of unlike level; from one, all its noise is taken for photon noise if it is bright. */
function noiseLaw(dim: LevelReading, bright: LevelReading, pedestalAdu: number, topAdu: number): NoiseLaw {
  const dimSignal = Math.max(0, dim.meanAdu - pedestalAdu);
  const brightSignal = Math.max(0, bright.meanAdu - pedestalAdu);
  if (brightSignal - dimSignal > 0.002 * topAdu) {
    const perAdu = Math.max(
      0,
      (bright.noiseVarianceAdu2 - dim.noiseVarianceAdu2) / (brightSignal - dimSignal),
    );
    return { perAdu, floorAdu2: Math.max(0, dim.noiseVarianceAdu2 - perAdu * dimSignal) };
  }
  if (brightSignal > 0.1 * topAdu) return { perAdu: bright.noiseVarianceAdu2 / brightSignal, floorAdu2: 0 };
  // A full well of 10 000 electrons, until seen; but no more noise than there is.
  const perAdu = Math.min(1e-4 * topAdu, bright.noiseVarianceAdu2 / Math.max(1e-9, brightSignal));
  return { perAdu, floorAdu2: Math.max(0, bright.noiseVarianceAdu2 - perAdu * brightSignal) };
}
