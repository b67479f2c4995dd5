import type { Card } from "../../drivers/formats/fits-card.ts";
import type { CurveOfFlat } from "../imaging/proof/response-figures.ts";

/** The sensor's curve at the setting of a flat, and what it does to images, for its header. */
export function responseCards({ coefficients, ofImages }: CurveOfFlat): Card[] {
  return [
    ...coefficients.map((value, k) =>
      figure(`RESPONS${k + 1}`, value, `of ln(measured/true), level over full scale ^${k + 1}`),
    ),
    ...ofImages.flatMap(({ imageLevel, rms, sigma }) => [
      figure(`RESP${100 * imageLevel}`, rms, `rms error of images at ${100 * imageLevel} % by the curve`),
      figure(`RESP${100 * imageLevel}SG`, sigma, "one sigma of it"),
    ]),
  ];
}

function figure(keyword: string, value: number, comment: string): Card {
  return { keyword, value: Number(value.toPrecision(4)), comment };
}
