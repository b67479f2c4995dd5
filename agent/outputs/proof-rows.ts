import type { DustFound } from "../imaging/dust/dust.ts";
import type { ProofFigure } from "../imaging/proof/proof-figure.ts";
import type { ReportFigure } from "./report-page.ts";
import { sigmaTexts } from "./with-sigma.ts";

function valueText(figure: ProofFigure, value: number): string {
  return figure.unit === "share"
    ? `${Number((100 * value).toPrecision(3))} %`
    : `${Number(value.toPrecision(3))}`;
}

function goodText({ good: [least, most], ...figure }: ProofFigure): string {
  const text = (value: number) => valueText({ ...figure, good: [least, most] }, value);
  if (most === Number.POSITIVE_INFINITY) return `≥ ${text(least)}`;
  return least === 0 ? `≤ ${text(most)}` : `${text(least)} – ${text(most)}`;
}

function uncertainText({ value, sigma, unit }: ProofFigure): Pick<ReportFigure, "value" | "uncertainty"> {
  const scale = unit === "share" ? 100 : 1;
  const [shown, uncertainty] = sigmaTexts(scale * value, sigma === undefined ? undefined : scale * sigma);
  return { value: unit === "share" ? `${shown} %` : shown, uncertainty };
}

/** The figures of a proof as the report's table shows them. */
export function proofRows(figures: readonly ProofFigure[]): ReportFigure[] {
  return figures.map((figure) => ({
    name: figure.name,
    ...uncertainText(figure),
    threshold: goodText(figure),
    verdict: figure.verdict,
    advice: figure.whatToDo,
  }));
}

/** One line a shadow: where, how large and how deep with one sigma, and how far from the sensor that puts the speck. */
export function dustLines(dust: readonly DustFound[]): string[] {
  return dust.map((shadow, index) => {
    const distance =
      shadow.distanceMm === undefined ? "" : `, ${shadow.distanceMm.toFixed(1)} mm before the sensor`;
    return (
      `${index + 1}: at ${shadow.xPx.toFixed(0)}, ${shadow.yPx.toFixed(0)} px, ` +
      `${shadow.diameterPx.toFixed(1)} ± ${shadow.diameterSigmaPx.toFixed(1)} px across, ` +
      `${(100 * shadow.depth).toFixed(2)} ± ${(100 * shadow.depthSigma).toFixed(2)} % deep${distance}`
    );
  });
}
