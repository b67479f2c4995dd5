import type { Flat } from "../combining/normalise-flat.ts";
import { signalElectrons, varianceAdu2 } from "../noise/sensor-model.ts";
import { median } from "../numerics/order-statistics.ts";

/** What is known of the light that a flat was made of. */
export interface Photons {
  /** Level above the dark that is 1 in the flat. */
  readonly levelAdu: number;
  readonly electronsPerAdu: number;
  /** Of a dark frame's pixel; 0 where it is not known. */
  readonly darkNoiseElectrons: number;
  readonly frameCount: number;
}

/**
 * Noise that photons and reading out allow a flat's pixel, a share of its level.
 * Source: EMVA 1288 linear, release 4.0.
 */
export function photonLimit(
  flat: Pick<Flat, "gain" | "mask">,
  { levelAdu, electronsPerAdu, darkNoiseElectrons, frameCount }: Photons,
): number {
  const sensor = { aduPerElectron: 1 / electronsPerAdu, darkNoiseElectrons, pedestalAdu: 0 };
  const noiseAdu = Math.sqrt(varianceAdu2(sensor, signalElectrons(sensor, levelAdu)));
  const gain = median(flat.gain.filter((_, i) => flat.mask[i] === 0)) ?? 1;
  return noiseAdu / levelAdu / Math.sqrt(frameCount) / Math.sqrt(gain);
}
