import type { LightMeasurement } from "../light/measure-light.ts";
import { judgeFigure, type ProofFigure } from "./proof-figure.ts";

/** A block of the map is in error when it is so many sigmas out: in thousands of even flats none was. */
const errorSigmas = 5;

/** What the Sun says of a flat's light, as figures. */
export function lightFigures(light: LightMeasurement): ProofFigure[] {
  const { error, sigma } = light.map;
  let [worst, worstSigma] = [0, light.sigma];
  error.forEach((value, b) => {
    if (!(Math.abs(value) > errorSigmas * sigma[b]!) || Math.abs(value) <= worst) return;
    [worst, worstSigma] = [Math.abs(value), sigma[b]!];
  });
  const { clearShare } = light;
  const isClear = clearShare !== undefined && clearShare.share > 3 * clearShare.sigma;
  return [
    judgeFigure("lightError", worst, worstSigma),
    judgeFigure("lightUnsure", light.sigma),
    ...(clearShare ? [judgeFigure("clearShare", isClear ? clearShare.share : 0, clearShare.sigma)] : []),
  ];
}
