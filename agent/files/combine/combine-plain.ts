import { ccdPlans } from "../../../drivers/formats/ccd-image.ts";
import { usualClipSigmas } from "../../imaging/combining/combine.ts";
import { fewRejectedByChance, isSmallSample } from "../../imaging/combining/few-frames.ts";
import { medianDeviation } from "../../imaging/noise/median-deviation.ts";
import { clippedNormal } from "../../imaging/numerics/normal.ts";
import { maskLegend } from "../../masters/mask-legend.ts";
import { FigureSample } from "./figure-sample.ts";
import { brightDark, describeDuplicates, describeOddLevels, frameLevel } from "./frame-levels.ts";
import {
  type CombineMethod,
  type CombineResult,
  closeWriter,
  type MasterRequest,
  makeWriter,
  masterCards,
  type OpenedSeries,
} from "./open-series.ts";
import { writeMaster } from "./write-master.ts";

type PlainMethod = Exclude<CombineMethod, "series">;

export interface PlainRequest extends MasterRequest {
  /**
   * `clipped`: values further than 3 standard deviations (with n) from the pixel's median are left out, then the mean;
   * the same as `ccdproc.combine` with median and std. Fewer than 12 frames: sigma by the median absolute deviation, and
   * no less than the noise that the pixels have in common.
   */
  readonly method: PlainMethod;
}

/**
 * Combines the values of frames as they are, tile by tile: memory does not grow with their number.
 * The result is float32 [adu] with UNCERT and MASK, not scaled: `apply` divides by its mean.
 * @param onProgress pixels done, of how many
 * @throws InputError
 */
export async function combinePlain(
  request: PlainRequest,
  { images, dark, warnings }: OpenedSeries,
  onProgress: (done: number, of: number) => void,
): Promise<CombineResult> {
  const first = images[0]!;
  const size = { widthPx: first.widthPx, heightPx: first.rowCount };
  const figures = new FigureSample(size.widthPx * size.heightPx);
  const plans = ccdPlans(
    size,
    {
      unit: "adu",
      cards: masterCards(request, images, methodText(request.method, images.length)),
      maskCards: maskLegend,
    },
    { sigma: true, mask: true },
  );
  using writer = makeWriter(request, plans);
  const written = await writeMaster(
    writer,
    { images, method: request.method, dark, figures, threads: request.threads },
    onProgress,
  );
  closeWriter(writer);
  const levels = images.map(frameLevel);
  return {
    output: request.output,
    method: request.method,
    frameCount: images.length,
    ...size,
    levelAdu: figures.medianValue(),
    noiseAdu: noiseOf(figures, request.method, images.length),
    ...written,
    ...(request.method === "clipped" ? { rejectedByChance: rejectedByChance(images.length) } : {}),
    warnings: [
      ...warnings,
      ...describeDuplicates(levels),
      ...describeOddLevels(levels),
      ...brightDark(dark, levels),
      ...(written.maskedPx < size.widthPx * size.heightPx ? [] : [nothingTrusted]),
    ],
  };
}

const nothingTrusted =
  "no pixel of the result is to be trusted: all are clipped or missing in the frames, or masked in the dark";

function rejectedByChance(frames: number): number {
  return isSmallSample(frames) ? fewRejectedByChance : clippedNormal(usualClipSigmas).rejected;
}

/** UNCERT is what the kept values show; what few values and clipped ones show is too little, on the median. */
function noiseOf(figures: FigureSample, method: PlainMethod, frames: number): number | undefined {
  const sigma = figures.medianSigma();
  if (sigma === undefined) return undefined;
  return (
    sigma / medianDeviation(frames) / (method === "clipped" ? clippedNormal(usualClipSigmas).sigmaAfter : 1)
  );
}

function methodText(method: PlainMethod, frames: number): string {
  if (method !== "clipped") return method;
  const spread = isSmallSample(frames) ? "sigma (by MAD, at least the common noise)" : "standard deviations";
  return `mean without values beyond ${usualClipSigmas} ${spread} of the median`;
}
