import type { Card } from "../../drivers/formats/fits-card.ts";
import type { FitsHeader } from "../../drivers/formats/fits-header.ts";
import type { CountCurve } from "../imaging/light/straighten.ts";
import type { CurveOfFlat } from "../imaging/proof/response-figures.ts";

/** The sensor's curve at the setting of a flat, and what it does to images, for its header. */
export function responseCards({ corrected, coefficients, ofImages }: CurveOfFlat, topAdu: number): Card[] {
  return [
    {
      keyword: "RESPCOR",
      value: corrected,
      comment: "counts were straightened by that, and images have to be",
    },
    { keyword: "RESPTOP", value: topAdu, comment: "[adu] full scale" },
    ...coefficients.map((value, k) =>
      figure(`RESPONS${k + 1}`, value, `of ln(measured/true), level over full scale ^${k + 1}`),
    ),
    ...ofImages.flatMap(({ imageLevel, rms, sigma }) => [
      figure(`RESP${100 * imageLevel}`, rms, `rms error of images at ${100 * imageLevel} % by the curve`),
      figure(`RESP${100 * imageLevel}SG`, sigma, "one sigma of it"),
    ]),
  ];
}

/** The curve that images need before they are divided by a flat; `undefined` where it was made of counts as they came. */
export function readCurve(header: FitsHeader): CountCurve | undefined {
  if (header.logical("RESPCOR") !== true) return undefined;
  const [a, b, c, topAdu] = ["RESPONS1", "RESPONS2", "RESPONS3", "RESPTOP"].map((keyword) =>
    header.number(keyword),
  );
  if (a === undefined || b === undefined || c === undefined || topAdu === undefined) return undefined;
  return { coefficients: [a, b, c], topAdu };
}

function figure(keyword: string, value: number, comment: string): Card {
  return { keyword, value: Number(value.toPrecision(4)), comment };
}
