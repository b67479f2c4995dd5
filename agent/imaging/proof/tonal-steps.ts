import { type ConverterCodes, converterCodes } from "../exposure/converter-codes.ts";
import { countCodes, quantileAdu } from "../exposure/histogram.ts";

/** How a frame's values were cut into steps. */
export interface TonalSteps extends ConverterCodes {
  /** Noise that rounding to such steps makes [adu]. */
  readonly roundingNoiseAdu: number;
  /** Of the codes that the converter has in the frame's middle range, so many hold no pixel although both beside do. */
  readonly missingShare: number;
  /** One sigma of that. */
  readonly missingSigma: number;
}

/** Codes with fewer pixels than this on either side may be empty by chance. */
const wellFilled = 12;

/** Source: rounding to steps of Δ adds Δ²/12 to the variance, EMVA 1288 linear. */
export function tonalSteps(pixelsAdu: Uint16Array): TonalSteps {
  const counts = countCodes(pixelsAdu);
  const codes = converterCodes(counts);
  const from = quantileAdu(counts, 0.05) ?? 0;
  const to = quantileAdu(counts, 0.95) ?? 0;
  const step = codes.stepAdu;
  const at = (code: number) => occupancy(counts, code, step);
  let [looked, missing] = [0, 0];
  for (let code = Math.ceil(from / step) * step; code <= to; code += step) {
    if (at(code - step) < wellFilled || at(code + step) < wellFilled) continue;
    looked++;
    if (at(code) === 0) missing++;
  }
  return {
    ...codes,
    roundingNoiseAdu: step / Math.sqrt(12),
    missingShare: looked === 0 ? 0 : missing / looked,
    missingSigma: looked === 0 ? 0 : Math.sqrt(Math.max(1, missing)) / looked,
  };
}

/** Of a dialect whose steps are 16 and 17 the code may lie a little beside its multiple. */
function occupancy(counts: Uint32Array, code: number, step: number): number {
  if (step === 1) return counts[code] ?? 0;
  let sum = 0;
  for (let near = code - Math.floor(step / 2); near < code + Math.ceil(step / 2); near++)
    sum += counts[near] ?? 0;
  return sum;
}
