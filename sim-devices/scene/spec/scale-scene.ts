import { given } from "../../../drivers/kit/given.ts";
import type { SceneSpec } from "./scene-spec.ts";

/**
 * The same scene on a sensor of so many pixels across, of the same shape and with the same field. Below 96 px across the limb
 * is too short to be centred on.
 * @param dustCount the first so many of its specks; left out, all
 */
export function scaleScene(scene: SceneSpec, widthPx: number, dustCount?: number): SceneSpec {
  const { camera } = scene;
  const heightPx = Math.round((camera.heightPx / camera.widthPx) * widthPx);
  const pixelMicron = camera.pixelMicron / (widthPx / camera.widthPx);
  return fitSceneToSensor(scene, { widthPx, heightPx, pixelMicron }, dustCount);
}

/**
 * The same scene on another sensor: what lies on the sensor is stretched with it, dust at its distance keeps its size in
 * millimetres.
 */
export function fitSceneToSensor(
  scene: SceneSpec,
  { widthPx, heightPx, pixelMicron }: Pick<SceneSpec["camera"], "widthPx" | "heightPx" | "pixelMicron">,
  dustCount?: number,
): SceneSpec {
  const { rig, camera, startsWith } = scene;
  const [wider, higher] = [widthPx / camera.widthPx, heightPx / camera.heightPx];
  const lesser = Math.min(wider, higher);
  return {
    ...scene,
    camera: { ...camera, widthPx, heightPx, pixelMicron },
    rig: {
      ...rig,
      vignetting: {
        ...rig.vignetting,
        offsetXPx: rig.vignetting.offsetXPx * wider,
        offsetYPx: rig.vignetting.offsetYPx * higher,
      },
      hotSpot: {
        ...rig.hotSpot,
        xPx: rig.hotSpot.xPx * wider,
        yPx: rig.hotSpot.yPx * higher,
        sigmaPx: rig.hotSpot.sigmaPx * lesser,
      },
      diffuser: {
        ...rig.diffuser,
        ...given({
          patches: rig.diffuser.patches?.map((patch) => ({
            ...patch,
            xPx: patch.xPx * wider,
            yPx: patch.yPx * higher,
            sigmaPx: patch.sigmaPx * lesser,
          })),
        }),
      },
      ...given({
        ghosts: rig.ghosts?.map((ghost) => ({
          ...ghost,
          xPx: ghost.xPx * wider,
          yPx: ghost.yPx * higher,
          radiusPx: ghost.radiusPx * lesser,
          edgePx: ghost.edgePx * lesser,
        })),
      }),
      dust: rig.dust
        .slice(0, dustCount)
        .map((speck) => ({ ...speck, xPx: speck.xPx * wider, yPx: speck.yPx * higher })),
    },
    startsWith: { ...startsWith, region: { xPx: 0, yPx: 0, widthPx, heightPx } },
  };
}
