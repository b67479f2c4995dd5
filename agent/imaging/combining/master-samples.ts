import { lookUp, type NoiseByLevel, tabulate } from "../noise/noise-by-level.ts";

/** Beyond this many sigma of its pixel a sample is an outlier. */
const rejectSigma = 5;

/** The wider of what peers of the level show and what the pixel itself shows: an unsteady pixel is no outlier to itself. */
export function limitsFor(medians: Float32Array, spreads: Float32Array, noise: NoiseByLevel): Float32Array {
  const table = tabulate(noise);
  const limits = new Float32Array(medians.length);
  for (let i = 0; i < medians.length; i++)
    limits[i] = rejectSigma * Math.max(Math.sqrt(lookUp(table, medians[i]!)), spreads[i]!, 1e-3);
  return limits;
}
