import type { SceneSpec } from "../spec/scene-spec.ts";
import type { TrainState } from "./dust-shadow.ts";

/**
 * How the light over the field follows a filter whose passband lies beside the line: off axis rays pass at other
 * wavelengths, by the square of the angle, and warmth moves all of them. Level 1 - depth·2^-δ², δ the detuning in half
 * widths of line and filter together. That the Sun's structure loses contrast away from the line is left out.
 * @returns the level at a distance from the optical axis, as a fraction of the half diagonal; `undefined` without one
 */
export function passbandLevel(spec: SceneSpec, train: TrainState): ((r2: number) => number) | undefined {
  const band = spec.rig.slots[train.wheelSlot - 1]?.passband;
  if (!band) return undefined;
  const middle = band.detuning + band.perCelsius * (train.filterWarmerCelsius ?? 0);
  return (r2) => 1 - band.lineDepth * 2 ** -((middle + band.towardsCorner * r2) ** 2);
}
