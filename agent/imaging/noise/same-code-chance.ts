import { upperTail } from "../numerics/normal.ts";

/** Places of the level between two codes that are averaged over; the chance is smooth in them. */
const phases = 16;

/**
 * Chance that a pixel with normal noise shows one and the same code in all frames, averaged over where its level lies
 * between two codes: the mean of Σ P(code)^n. Far above a code's step that is (2π)^((1-n)/2) σ^(1-n) / √n.
 * @param sigmaSteps noise before it is rounded, in steps of the converter
 */
export function sameCodeChance(frameCount: number, sigmaSteps: number): number {
  if (frameCount < 2 || !(sigmaSteps > 0)) return 1;
  const reach = Math.ceil(6 * sigmaSteps) + 1;
  let sum = 0;
  for (let k = 0; k < phases; k++) {
    const level = (k + 0.5) / phases - 0.5;
    let above = upperTail((-reach - 0.5 - level) / sigmaSteps);
    for (let code = -reach; code <= reach; code++) {
      const next = upperTail((code + 0.5 - level) / sigmaSteps);
      sum += (above - next) ** frameCount;
      above = next;
    }
  }
  return Math.min(1, sum / phases);
}
