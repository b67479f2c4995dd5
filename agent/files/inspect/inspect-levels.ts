import { readLevel } from "../../imaging/exposure/frame-level.ts";
import { neighbourNoise } from "../../imaging/noise/neighbour-noise.ts";
import { median } from "../../imaging/numerics/order-statistics.ts";
import { darkUnevenness } from "../../imaging/proof/dark-unevenness.ts";
import { judgeFigure, type ProofFigure } from "../../imaging/proof/proof-figure.ts";
import { type TonalSteps, tonalSteps } from "../../imaging/proof/tonal-steps.ts";
import { type InspectionFigures, type Picture, samplePixels, trustedPixelMask } from "./inspected-picture.ts";

/** Level, clipping, and how the converter's codes fill the words; of a master only the level. */
export function levelFindings(picture: Picture): InspectionFigures & { readonly codes?: TonalSteps } {
  const { pixels, widthPx, heightPx, header, kind } = picture;
  if (picture.isMaster || !(pixels instanceof Uint16Array)) {
    const value = median(samplePixels(picture));
    const unit = header.text("BUNIT")?.trim() === "" ? "" : "adu";
    const measures = value === undefined ? [] : [{ name: "level", value, unit } as const];
    return { figures: kind === "dark" ? unevennessFigure(picture) : [], measures };
  }
  const exposureSeconds = header.number("EXPTIME") ?? 0;
  const camera = { pedestalAdu: 0, topAdu: 65535 };
  const reading = readLevel(pixels, { widthPx, heightPx }, exposureSeconds, camera);
  const codes = tonalSteps(pixels);
  const steps = stepFindings(picture, codes);
  if (kind === "dark" || kind === "bias") {
    const level = { name: "level", value: reading.medianLitAdu, unit: "adu" } as const;
    return {
      figures: [
        judgeFigure("black", reading.lowClippedFraction),
        ...unevennessFigure(picture),
        ...steps.figures,
      ],
      measures: [level, ...steps.measures],
      codes,
    };
  }
  const edge = reading.edgeAdu / reading.topAdu;
  // Of n pixels beyond a level, chance moves the root of n.
  const clippedSigma = Math.sqrt(Math.max(1, reading.clippedFraction * pixels.length)) / pixels.length;
  return {
    figures: [
      ...(kind === "flat" ? [judgeFigure("upperEdge", edge)] : []),
      judgeFigure("clipped", reading.clippedFraction, clippedSigma),
      ...steps.figures,
    ],
    measures: [
      { name: "level of the lit field", value: reading.medianLitAdu, unit: "adu" },
      { name: "highest code", value: reading.topAdu, unit: "adu" },
      ...(kind === "flat" ? [] : [{ name: "upper edge", value: 100 * edge, unit: "%" } as const]),
      { name: "pixels at code 0", value: 100 * reading.lowClippedFraction, unit: "%" },
      ...steps.measures,
    ],
    codes,
  };
}

function unevennessFigure(picture: Picture): ProofFigure[] {
  const { values, widthPx, heightPx } = picture;
  const found = darkUnevenness(values, trustedPixelMask(picture), { widthPx, heightPx });
  return found ? [judgeFigure("darkUneven", found.peakToPeakAdu / 65_535, found.sigmaAdu / 65_535)] : [];
}

function stepFindings(picture: Picture, codes: TonalSteps): InspectionFigures {
  const noise = neighbourNoise(picture.values, trustedPixelMask(picture), picture.widthPx);
  const { depthBits, dialect, stepAdu, missingShare, missingSigma } = codes;
  // Neighbours that are all on one code leave a noise of 0: the step is then all that there is.
  const steps = noise !== undefined && noise > 0 ? stepAdu / noise : stepAdu > 1 ? Number.MAX_VALUE : 0;
  return {
    figures: [
      ...(steps < Number.MAX_VALUE ? [judgeFigure("tonalStep", steps)] : []),
      judgeFigure("missingCodes", missingShare, missingSigma),
    ],
    measures: [
      { name: `converter's bits (${dialect})`, value: depthBits, unit: "" },
      { name: "tonal step", value: stepAdu, unit: "adu" },
    ],
  };
}
