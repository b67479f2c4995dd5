import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { smallScene } from "../stage/scenes.ts";

/** The small scene with nine specks on the tube, which fall elsewhere on the sensor when it slips. */
export const dustyScene: SceneSpec = {
  ...smallScene,
  rig: {
    ...smallScene.rig,
    dust: [
      [60, 50, 1.3, 55],
      [250, 60, 1.3, 50],
      [160, 180, 1.3, 60],
      [275, 165, 1.3, 58],
      [115, 130, 2.4, 100],
      [190, 40, 2.4, 95],
      [45, 190, 2.4, 105],
      [225, 115, 2.4, 100],
      [140, 85, 2.4, 98],
    ].map(([xPx, yPx, distanceMm, speckMicron]) => ({
      xPx: xPx!,
      yPx: yPx!,
      distanceMm: distanceMm!,
      speckMicron: speckMicron!,
      on: "tube" as const,
    })),
  },
};

/** Twenty images, asked every five whether the flat still fits. */
export function slippingPlanText(images: string, flat = ""): string {
  return `plan: slipping
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - leak-check: { frames: 8 }
  - flat: { blur: diffuser, frames: 32, darkFrames: 8${flat} }
  - images: { frames: 20, checkFlatEveryFrames: 5${images} }
`;
}
