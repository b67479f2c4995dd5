import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { driftScene } from "./drift-scene.ts";

/** A disc of 955 px radius about a frame of 320 x 240 px, at f/6.7, with 32 mm of travel above the focus. */
export const defocusScene: SceneSpec = {
  ...driftScene,
  optics: { ...driftScene.optics, apertureMm: 150, focalLengthMm: 1000 },
  camera: { ...driftScene.camera, pixelMicron: 9.6 },
  rig: {
    ...driftScene.rig,
    dust: driftScene.rig.dust.map((dust) => ({ ...dust, speckMicron: 0.7 * dust.speckMicron })),
  },
  focuser: { ...driftScene.focuser, bestSteps: 4000 },
  startsWith: { ...driftScene.startsWith, focusSteps: 4000 },
};

export const defocusPlanText = `plan: defocus
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - flat: { blur: defocus, frames: 30, darkFrames: 8 }
`;
