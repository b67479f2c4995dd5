import { type CcdImage, ccdHdus, readCcdImage } from "../../../drivers/formats/ccd-image.ts";
import { writeFitsFile } from "../../../drivers/formats/fits-write.ts";
import { maskLegend } from "../../masters/mask-legend.ts";
import { explainFileErrors, InputError } from "../input-error.ts";
import { keptCards } from "../kept-cards.ts";

/**
 * A dark as it would be after another exposure: what is above the bias grows with time, the bias does not.
 * @throws InputError if the files can't be used
 */
export function writeScaledDark(request: {
  readonly darkFile: string;
  readonly biasFile: string;
  readonly exposureSeconds: number;
  readonly output: string;
  readonly writtenUtcMs: number;
}): void {
  const { darkFile, biasFile, exposureSeconds, output, writtenUtcMs } = request;
  const dark = explainFileErrors(darkFile, () => readCcdImage(darkFile));
  const bias = explainFileErrors(biasFile, () => readCcdImage(biasFile));
  const darkSeconds = dark.header.number("EXPTIME");
  if (darkSeconds === undefined || !(darkSeconds > 0))
    throw new InputError(`${darkFile} tells no exposure.`, "It can't be scaled to another one.");
  if (dark.widthPx !== bias.widthPx || dark.heightPx !== bias.heightPx)
    throw new InputError(
      `${darkFile} and ${biasFile} are not of one size.`,
      "Take a bias of the dark's region.",
    );
  const { data, sigma, mask } = scaleDark(dark, bias, exposureSeconds / darkSeconds);
  const cards = [
    ...keptCards(dark.header.cards).filter(({ keyword }) => keyword !== "EXPTIME"),
    { keyword: "EXPTIME", value: exposureSeconds, comment: "[s] exposure that it stands for" },
    { keyword: "DARKTIME", value: darkSeconds, comment: "[s] exposure of the dark that was scaled" },
    { keyword: "HISTORY", value: `evenfield calibrate: scaled from ${darkSeconds} s above a bias` },
  ];
  const image = { ...dark, data, sigma, mask };
  const hdus = ccdHdus(image, { unit: "adu", cards, maskCards: maskLegend });
  explainFileErrors(output, () => writeFitsFile(output, hdus, { writtenUtcMs, replace: false }));
}

function scaleDark(dark: CcdImage, bias: CcdImage, factor: number) {
  const data = new Float32Array(dark.data.length);
  const sigma = new Float32Array(data.length);
  const mask = new Uint8Array(data.length);
  for (let i = 0; i < data.length; i++) {
    data[i] = bias.data[i]! + factor * (dark.data[i]! - bias.data[i]!);
    sigma[i] = Math.hypot(factor * (dark.sigma?.[i] ?? 0), (1 - factor) * (bias.sigma?.[i] ?? 0));
    mask[i] = (dark.mask?.[i] ?? 0) | (bias.mask?.[i] ?? 0);
  }
  return { data, sigma, mask };
}
