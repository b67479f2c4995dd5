import type { LightRate } from "./findings.ts";
import type { Workbench } from "./step.ts";

/** Seconds that bring the upper edge of light measured before to a share of full scale, as near as the camera can. */
export function exposureForLevel(
  { rig: { camera }, findings }: Pick<Workbench, "rig" | "findings">,
  rate: Pick<LightRate, "edgeAduPerSecond" | "pedestalAdu">,
  levelFraction: number,
): number {
  const { min, max } = camera.limits.exposureSeconds;
  const topAdu = findings.topCodeAdu ?? camera.limits.fullScaleAdu;
  const wanted = (levelFraction * topAdu - rate.pedestalAdu) / rate.edgeAduPerSecond;
  return Math.min(max, Math.max(min, wanted));
}
