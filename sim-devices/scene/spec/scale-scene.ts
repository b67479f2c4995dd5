import { given } from "../../../drivers/kit/given.ts";
import type { SceneSpec } from "./scene-spec.ts";

/**
 * The same scene on a sensor of so many pixels across, of the same shape and with the same field: what lies on the sensor is
 * scaled, dust at its distance keeps its size in millimetres. Below 96 px across the limb is too short to be centred on.
 * @param dustCount the first so many of its specks; left out, all
 */
export function scaleScene(scene: SceneSpec, widthPx: number, dustCount?: number): SceneSpec {
  const { rig, camera, startsWith } = scene;
  const scale = widthPx / camera.widthPx;
  const heightPx = Math.round((camera.heightPx / camera.widthPx) * widthPx);
  return {
    ...scene,
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
      diffuser: {
        ...rig.diffuser,
        ...given({
          patches: rig.diffuser.patches?.map((patch) => ({
            ...patch,
            xPx: patch.xPx * scale,
            yPx: patch.yPx * scale,
            sigmaPx: patch.sigmaPx * scale,
          })),
        }),
      },
      ...given({
        ghosts: rig.ghosts?.map((ghost) => ({
          ...ghost,
          xPx: ghost.xPx * scale,
          yPx: ghost.yPx * scale,
          radiusPx: ghost.radiusPx * scale,
          edgePx: ghost.edgePx * scale,
        })),
      }),
      dust: rig.dust
        .slice(0, dustCount)
        .map((speck) => ({ ...speck, xPx: speck.xPx * scale, yPx: speck.yPx * scale })),
    },
    startsWith: { ...startsWith, region: { xPx: 0, yPx: 0, widthPx, heightPx } },
  };
}
