import { demoScene } from "../../sim-devices/scene/spec/demo-scene.ts";
import { scaleScene } from "../../sim-devices/scene/spec/scale-scene.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";

/**
 * The demo scene on a sensor of so many pixels across, 4 to 3, with the same field.
 * @param dustCount the first so many of the demo's specks
 */
export function sceneOfWidth(widthPx: number, dustCount = 4): SceneSpec {
  return scaleScene(demoScene, widthPx, dustCount);
}

/** Large enough for a flat to be proved, small enough for a test. */
export const smallScene: SceneSpec = {
  ...sceneOfWidth(320),
  rig: {
    ...sceneOfWidth(320).rig,
    vignetting: { atCorner: 0.24, offsetXPx: 11, offsetYPx: -7 },
    hotSpot: { xPx: 190, yPx: 107, sigmaPx: 28, peak: 0.04 },
  },
};

/** For runs by the thousand: everything happens, and what it says of a flat is worth little. */
export const tinyScene: SceneSpec = sceneOfWidth(96, 2);

export const shortPlanText = `plan: short
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - leak-check: { frames: 4 }
  - flat: { blur: diffuser, frames: 12 }
  - images: { frames: 2 }
`;
