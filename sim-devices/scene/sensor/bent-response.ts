import type { SceneSpec } from "../spec/scene-spec.ts";

export type BentResponse = NonNullable<SceneSpec["camera"]["response"]>;

/**
 * Measured over true signal.
 * @param level true signal over the converter's full scale; beyond it the ratio stays, so that more light never
 * reads less
 */
export function measuredOverTrue({ quadratic, shoulder }: BentResponse, level: number): number {
  const y = Math.min(1, Math.max(0, level));
  return 1 - quadratic * y - shoulder * y ** 4;
}
