import type { LightMeasurement } from "../light/measure-light.ts";
import { judgeFigure, type ProofFigure } from "./proof-figure.ts";

/** What the plain Sun says of a flat's light, or why nobody knows. */
export type LightProof = LightMeasurement | { readonly notMeasured: string };

/** Of frames that are there already. */
export const nobodyLooked = { notMeasured: "no frames of the Sun were held against it" } as const;

/** A block of the map is in error when it is so many sigmas out: in thousands of even flats none was. */
const errorSigmas = 5;

/** Frames that tell of a flat's light, in words for who has only files. */
export const howToProve =
  "Take eight or more frames of the plain Sun (no diffuser, in focus, same gain and filter, at about 70 % of full scale), moved by " +
  "up to a quarter of the frame's height to both sides along both axes, within five minutes of the flat, and name them: " +
  "`evenfield inspect FLAT --looks FILES… --dark DARK`.";

/** What the Sun says of a flat's light, as figures; a flat that was never held against it is not good. */
export function lightFigures(light: LightProof): ProofFigure[] {
  if ("notMeasured" in light)
    return [{ ...judgeFigure("lightSeen", 0), whatToDo: describeUnproved(light.notMeasured) }];
  const { error, sigma } = light.map;
  let [worst, worstSigma] = [0, light.sigma];
  error.forEach((value, b) => {
    if (!(Math.abs(value) > errorSigmas * sigma[b]!) || Math.abs(value) <= worst) return;
    [worst, worstSigma] = [Math.abs(value), sigma[b]!];
  });
  const { clearShare } = light;
  const isClear = clearShare !== undefined && clearShare.share > 3 * clearShare.sigma;
  return [
    judgeFigure("lightSeen", light.seenFraction),
    judgeFigure("lightError", worst, worstSigma),
    judgeFigure("lightUnsure", light.sigma),
    ...(clearShare ? [judgeFigure("clearShare", isClear ? clearShare.share : 0, clearShare.sigma)] : []),
  ];
}

/** @param because no full stop at its end */
export function describeUnproved(because: string): string {
  return `The light was not proved: ${because}. A flat shows what the light wrote into it as if it were the rig's own. ${howToProve}`;
}
