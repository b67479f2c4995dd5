import type { LevelReading } from "./frame-level.ts";

/** Noise of a pixel: variance = `floorAdu2` + `perAdu` · signal. */
export interface NoiseLaw {
  readonly floorAdu2: number;
  readonly perAdu: number;
}

/**
 * The upper edge of a frame exposed `factor` times as long as one already seen.
 * The edge does not grow like the mean: at short exposures it is mostly noise. So the field's own unevenness (from
 * block means, their noise taken out) is scaled and each level is given the noise that it will have.
 * @param pedestalAdu level without light
 */
export function forecastEdgeAdu(
  reading: LevelReading,
  pedestalAdu: number,
  noise: NoiseLaw,
  factor: number,
): number {
  const levels = illumination(reading, pedestalAdu);
  let low = Number.POSITIVE_INFINITY;
  let high = 0;
  const means = levels.map((signal) => signal * factor);
  const sigmas = means.map((signal) => Math.sqrt(noise.floorAdu2 + noise.perAdu * Math.max(0, signal)));
  for (let k = 0; k < means.length; k++) {
    low = Math.min(low, means[k]!);
    high = Math.max(high, means[k]! + 5 * sigmas[k]!);
  }
  for (let round = 0; round < 40; round++) {
    const middle = (low + high) / 2;
    let above = 0;
    for (let k = 0; k < means.length; k++) above += upperTail((middle - means[k]!) / (sigmas[k]! || 1e-9));
    if (above / means.length > 0.001) low = middle;
    else high = middle;
  }
  return pedestalAdu + high;
}

/** The factor by which to lengthen the exposure so that the edge comes to `edgeAdu`. */
export function factorForEdge(
  reading: LevelReading,
  pedestalAdu: number,
  noise: NoiseLaw,
  edgeAdu: number,
): number {
  let factor = (edgeAdu - pedestalAdu) / Math.max(1e-9, reading.meanAdu - pedestalAdu);
  for (let round = 0; round < 12; round++) {
    const forecast = forecastEdgeAdu(reading, pedestalAdu, noise, factor);
    const correction = (edgeAdu - pedestalAdu) / (forecast - pedestalAdu);
    factor *= correction;
    if (Math.abs(correction - 1) < 1e-5) break;
  }
  return factor;
}

/** Signal above the pedestal over the lit field, at most 1024 values, the blocks' own noise shrunk away. */
function illumination(reading: LevelReading, pedestalAdu: number): number[] {
  const blocks = reading.blockMeansAdu;
  const mean = reading.meanAdu;
  let variance = 0;
  for (let b = 0; b < blocks.length; b++) variance += (blocks[b]! - mean) ** 2;
  variance /= Math.max(1, blocks.length - 1);
  const noise = reading.noiseVarianceAdu2 / reading.blockPx;
  const shrink = variance > 0 ? Math.sqrt(Math.max(0, 1 - noise / variance)) : 0;
  const count = Math.min(1024, blocks.length);
  return Array.from({ length: Math.max(1, count) }, (_, k) => {
    const block = blocks[Math.floor(((k + 0.5) * blocks.length) / count)] ?? mean;
    return mean - pedestalAdu + shrink * (block - mean);
  });
}

/** Share of a normal distribution above z. Source: Abramowitz & Stegun 26.2.17, |error| < 7.5e-8. */
export function upperTail(z: number): number {
  if (z < 0) return 1 - upperTail(-z);
  const t = 1 / (1 + 0.2316419 * z);
  const series =
    t * (0.31938153 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
  return (Math.exp((-z * z) / 2) / Math.sqrt(2 * Math.PI)) * series;
}
