import type { Random } from "../../../drivers/kit/random.ts";
import type { SceneSpec } from "./scene-spec.ts";

type Camera = SceneSpec["camera"];
type Optics = SceneSpec["optics"];

/** Vignetting, uneven transmission, dust and the diffuser of a rig with this camera and optics. */
export function drawRig(random: Random, camera: Camera, optics: Optics): Omit<SceneSpec["rig"], "slots"> {
  const { widthPx, heightPx } = camera;
  const focalRatio = optics.focalLengthMm / optics.apertureMm;
  const inFrame = () => ({ xPx: random.between(0, widthPx), yPx: random.between(0, heightPx) });
  const dust = Array.from({ length: random.whole(6, 20) }, () => {
    const shadowPx = 10 ** random.between(Math.log10(14), Math.log10(0.17 * widthPx));
    const beamMm = (shadowPx * camera.pixelMicron) / 1000;
    const depth = 10 ** random.between(-1.8, -1);
    return {
      ...inFrame(),
      distanceMm: beamMm * focalRatio,
      speckMicron: 1000 * beamMm * Math.sqrt(depth * (1 - optics.obstructionRatio ** 2)),
      on: shadowPx > 50 ? random.pick(["camera", "tube"] as const) : ("camera" as const),
      ...(random.uniform() < 0.15 ? { slot: random.whole(1, 2) } : {}),
    };
  });
  return {
    vignetting: {
      atCorner: random.between(0.02, 0.35),
      offsetXPx: random.between(-0.08, 0.08) * widthPx,
      offsetYPx: random.between(-0.08, 0.08) * heightPx,
    },
    unevenTransmission: {
      peakToPeak: random.between(0, 0.1),
      scaleFractionOfWidth: random.between(0.5, 1.2),
    },
    gradient: { peakToPeak: random.between(0, 0.08), degrees: random.between(0, 360) },
    hotSpot: {
      ...inFrame(),
      sigmaPx: random.between(0.05, 0.12) * widthPx,
      peak: random.uniform() < 0.5 ? random.between(0, 0.06) : 0,
    },
    dust,
    diffuser: { transmission: 10 ** random.between(-2.2, -1.8), lobeDegrees: random.between(4, 10) },
  };
}
