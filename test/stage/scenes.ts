import { demoScene } from "../../sim-devices/scene/spec/demo-scene.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";

/**
 * The demo scene on a sensor of so many pixels across, 4 to 3, with the same field: what lies on the sensor is scaled,
 * dust at its distance keeps its size in millimetres. Below 96 px across the limb is too short to be centred on.
 * @param dustCount the first so many of the demo's specks
 */
export function sceneOfWidth(widthPx: number, dustCount = 4): SceneSpec {
  const scale = widthPx / demoScene.camera.widthPx;
  const heightPx = Math.round(0.75 * widthPx);
  const { rig, camera } = demoScene;
  return {
    ...demoScene,
    camera: { ...camera, widthPx, heightPx, pixelMicron: camera.pixelMicron / scale },
    rig: {
      ...rig,
      vignetting: {
        ...rig.vignetting,
        offsetXPx: rig.vignetting.offsetXPx * scale,
        offsetYPx: rig.vignetting.offsetYPx * scale,
      },
      hotSpot: {
        ...rig.hotSpot,
        xPx: rig.hotSpot.xPx * scale,
        yPx: rig.hotSpot.yPx * scale,
        sigmaPx: rig.hotSpot.sigmaPx * scale,
      },
      dust: rig.dust
        .slice(0, dustCount)
        .map((speck) => ({ ...speck, xPx: speck.xPx * scale, yPx: speck.yPx * scale })),
    },
    startsWith: { ...demoScene.startsWith, region: { xPx: 0, yPx: 0, widthPx, heightPx } },
  };
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
