import type { Focuser } from "../../../../drivers/roles/focuser.ts";

/** From which side a place is approached: the play of the gear then always lies on the same one. */
export type Approach = "below" | "above";

/** More than the play of any gear worth the name, as a share of the whole travel. */
const approachOfTravel = 0.01;

/** Arrives from the wanted side whatever the start; where the travel has no room for that, as near to it as there is. */
export async function approachPosition(
  approach: Approach,
  focuser: Focuser,
  toSteps: number,
  signal: AbortSignal,
): Promise<void> {
  const { min, max } = focuser.limits.positionSteps;
  const away = Math.ceil(approachOfTravel * (max - min));
  const start = approach === "below" ? Math.max(min, toSteps - away) : Math.min(max, toSteps + away);
  const here = await focuser.positionSteps(signal);
  const isOnThatSide = approach === "below" ? here <= start : here >= start;
  if (!isOnThatSide) await focuser.moveTo(start, signal);
  await focuser.moveTo(toSteps, signal);
}

/** The side that has more travel, and how much [steps]. */
export function longerTravel(
  homeSteps: number,
  { min, max }: { readonly min: number; readonly max: number },
): { readonly side: 1 | -1; readonly steps: number } {
  const [up, down] = [max - homeSteps, homeSteps - min];
  return up >= down ? { side: 1, steps: up } : { side: -1, steps: down };
}
