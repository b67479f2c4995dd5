import type { GhostSearch } from "../light/ghosts.ts";
import { causeOfMap } from "../light/light-cause.ts";
import type { LightMeasurement } from "../light/measure-light.ts";
import { judgeFigure, type ProofFigure, rules } from "./proof-figure.ts";

/** What the plain Sun says of a flat's light, or why nobody knows. */
export type LightProof = LightMeasurement | { readonly notMeasured: string };

/** Of frames that are there already. */
export const nobodyLooked = { notMeasured: "no frames of the Sun were held against it" } as const;

/** Frames that tell of a flat's light, in words for who has only files. */
export const howToProve =
  "Take eight or more frames of the plain Sun (no diffuser, in focus, same gain and filter, at about 70 % of full scale), moved by " +
  "up to a quarter of the frame's height to both sides along both axes, within five minutes of the flat, and name them: " +
  "`evenfield inspect FLAT --looks FILES… --dark DARK`.";

/** What the Sun says of a flat's light, as figures; a flat that was never held against it is not good. */
export function lightFigures(light: LightProof): ProofFigure[] {
  if ("notMeasured" in light)
    return [{ ...judgeFigure("lightSeen", 0), whatToDo: describeUnproved(light.notMeasured) }];
  const { clearShare, ghosts, surely } = light;
  const isClear = clearShare !== undefined && clearShare.share > 3 * clearShare.sigma;
  const lightError = judgeFigure("lightError", surely.worst, surely.sigma);
  return [
    judgeFigure("lightSeen", light.seenFraction),
    lightError.verdict === "good"
      ? lightError
      : {
          ...lightError,
          whatToDo: describeLightError(light, isClear && 2 * clearShare.worst > surely.worst),
        },
    judgeFigure("lightUnsure", light.sigma),
    ...(clearShare ? [clearFigure(clearShare, isClear)] : []),
    reflectionFigure(ghosts),
  ];
}

/** Judged by what it makes of this field: the same share does less where the disc fills the frame. */
function clearFigure(
  { share, sigma, worst }: NonNullable<LightMeasurement["clearShare"]>,
  isClear: boolean,
): ProofFigure {
  if (!isClear) return judgeFigure("clearShare", 0);
  const figure = judgeFigure("clearShare", worst, (worst * sigma) / share);
  if (figure.verdict === "good") return figure;
  return {
    ...figure,
    whatToDo: `The sheet lets ${Number((100 * share).toPrecision(2))} % of the light through clear, and a picture of the Sun stays in the flat. ${figure.whatToDo}`,
  };
}

function reflectionFigure({ moves, scan, hidden }: GhostSearch): ProofFigure {
  const size = scan.find(({ motion }) => motion === moves)?.rms ?? 0;
  const figure = judgeFigure("reflection", size, hidden / 3);
  return moves === undefined || figure.verdict === "good"
    ? figure
    : { ...figure, whatToDo: describeReflection(moves) };
}

/** What most of the light's error is, and what helps. @param isClear that is the Sun's picture */
function describeLightError({ map, ghosts }: LightMeasurement, isClear: boolean): string {
  if (isClear)
    return "The flat holds a picture of the Sun that the sheet lets through clear: see the share of the light that does.";
  if (ghosts.moves !== undefined) return "A reflection adds light: see reflections.";
  const percent = (share: number) => `${Number((100 * Math.abs(share)).toPrecision(2))} %`;
  const cause = causeOfMap(map);
  if (cause?.kind === "falls off")
    return (
      `The light ${cause.atCorner > 0 ? "falls off" : "rises"} by ${percent(cause.atCorner)} from the middle of the field to its corners: ` +
      "use a heavier sheet, close to the aperture and larger than it, leave no gap at its rim, or take the flat by drift."
    );
  if (cause?.kind === "patch")
    return (
      `The light is ${cause.excess > 0 ? "too bright" : "too faint"} by ${percent(cause.excess)} in a patch about ${cause.xPx}, ${cause.yPx} px: ` +
      "look for a fold, a thin place or a fingerprint on the sheet, turn or change it, then take the flat again; " +
      "if the patch is still there, it is a reflection."
    );
  return rules.lightError.whatToDo;
}

/** @param motion of the reflection when the Sun moves by one */
function describeReflection(motion: number): string {
  const how =
    motion === 0
      ? "stands still when the Sun moves"
      : motion < 0
        ? "goes the other way when the Sun moves"
        : `moves by ${motion} when the Sun moves by 1`;
  return (
    `A reflection ${how}; it may be larger than what was measured. A flat can't take it out: look for a shiny surface ` +
    `${motion === 0 ? "at the camera's side" : "between filter and sensor"}, put dark cloth or a baffle before it, or tilt the camera.`
  );
}

/** @param because no full stop at its end */
export function describeUnproved(because: string): string {
  return `The light was not proved: ${because}. A flat shows what the light wrote into it as if it were the rig's own. ${howToProve}`;
}
