import type { LightPath } from "../painter-contract.ts";
import { electronsPerCode, wordsPerCode } from "../sensor/sensor-words.ts";
import type { SceneSpec } from "../spec/scene-spec.ts";
import { sunlight } from "../sun/brightness.ts";

type Leak = NonNullable<SceneSpec["rig"]["leak"]>;

/** Level of the diffuser flat above the pedestal, mean over the sensor, gain 0, in clear sunlight above the air. */
export function diffuserFlatAduPerSecond(spec: SceneSpec, wheelSlot: number): number {
  const electrons =
    spec.sun.centreElectronsPerSecond *
    spec.rig.diffuser.transmission *
    (spec.rig.slots[wheelSlot - 1]?.transmission ?? 0);
  return (electrons / electronsPerCode(spec.camera, 0)) * wordsPerCode(spec.camera);
}

/** Where the leaking light falls: mean 1 over the sensor, smooth, stronger towards one side. */
export function leakShape(spec: SceneSpec, leak: Leak): Float32Array {
  const { widthPx, heightPx } = spec.camera;
  const map = new Float32Array(widthPx * heightPx);
  const ux = Math.cos((leak.degrees * Math.PI) / 180);
  const uy = Math.sin((leak.degrees * Math.PI) / 180);
  const half = Math.hypot(widthPx, heightPx) / 2;
  let sum = 0;
  for (let y = 0, i = 0; y < heightPx; y++) {
    for (let x = 0; x < widthPx; x++, i++) {
      const px = (x - (widthPx - 1) / 2) / half;
      const py = (y - (heightPx - 1) / 2) / half;
      const level =
        leak.shape === "gradient"
          ? 1 + 0.8 * (px * ux + py * uy)
          : 0.15 + Math.exp(-((px - 0.45 * ux) ** 2 + (py - 0.45 * uy) ** 2) / (2 * 0.35 ** 2));
      map[i] = level;
      sum += level;
    }
  }
  for (let i = 0; i < map.length; i++) map[i]! *= map.length / sum;
  return map;
}

/** Mean electrons per second that leak in along this light path. */
export function leakElectronsPerSecond(spec: SceneSpec, leak: Leak, light: LightPath): number {
  const offSunDegrees = Math.hypot(light.sunEastArcsec, light.sunNorthArcsec) / 3600;
  const aim =
    offSunDegrees < leak.reachDegrees
      ? Math.cos((Math.PI / 2) * (offSunDegrees / leak.reachDegrees)) ** 2
      : 0;
  const path = leak.through === "gap" ? 1 : 1 - light.coverOpenFraction;
  const electronsPerAdu = electronsPerCode(spec.camera, 0) / wordsPerCode(spec.camera);
  return leak.aduPerSecond * electronsPerAdu * aim * path * sunlight(spec, light);
}

/** A leak of this fraction of the tuned diffuser flat's level, mean over mean. */
export function leakOfFlat(
  spec: SceneSpec,
  fraction: number,
  how: Omit<Leak, "aduPerSecond">,
  wheelSlot: number = spec.startsWith.wheelSlot,
): Leak {
  return { ...how, aduPerSecond: fraction * diffuserFlatAduPerSecond(spec, wheelSlot) };
}
