import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { smallScene } from "../stage/scenes.ts";

/** The small scene through a focal length that makes the disc 3.6 times as wide as the frame; deep wells. */
export const driftScene: SceneSpec = {
  ...smallScene,
  optics: { ...smallScene.optics, apertureMm: 150, focalLengthMm: 2425 },
  camera: {
    ...smallScene.camera,
    bits: 14,
    fullWellElectrons: 50_000,
    electronsPerCodeAtGain0: 3,
  },
};

export const driftPlanText = `plan: drift
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - flat: { blur: drift, frames: 36, levelFraction: 0.8, darkFrames: 8 }
`;
