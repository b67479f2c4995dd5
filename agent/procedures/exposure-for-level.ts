import type { LightRate } from "./findings.ts";
import type { Workbench } from "./step.ts";

/** Seconds that bring the upper edge of light measured before to a fraction of full scale, as near as the camera can. */
export function exposureForLevel(
  bench: Pick<Workbench, "rig" | "findings">,
  rate: Pick<LightRate, "edgeAduPerSecond" | "pedestalAdu">,
  levelFraction: number,
): number {
  const { min, max } = bench.rig.camera.limits.exposureSeconds;
  const wanted = (levelFraction * topCodeAdu(bench) - rate.pedestalAdu) / rate.edgeAduPerSecond;
  return Math.min(max, Math.max(min, wanted));
}

/** The top of the converter: as it was seen, or as the camera states it [adu]. */
export function topCodeAdu({ rig, findings }: Pick<Workbench, "rig" | "findings">): number {
  return findings.topCodeAdu ?? rig.camera.limits.fullScaleAdu;
}
