import { demoScene } from "../../sim-devices/scene/spec/demo-scene.ts";
import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";

/** The demo scene with a quarter of its pixels each way and dust to scale: the same job in a sixteenth of the time. */
export const smallScene: SceneSpec = {
  ...demoScene,
  camera: { ...demoScene.camera, widthPx: 320, heightPx: 240, pixelMicron: 19.2 },
  rig: {
    ...demoScene.rig,
    vignetting: { atCorner: 0.24, offsetXPx: 11, offsetYPx: -7 },
    hotSpot: { xPx: 190, yPx: 107, sigmaPx: 28, peak: 0.04 },
    dust: demoScene.rig.dust.slice(0, 4).map((dust) => ({ ...dust, xPx: dust.xPx / 4, yPx: dust.yPx / 4 })),
  },
  startsWith: { ...demoScene.startsWith, region: { xPx: 0, yPx: 0, widthPx: 320, heightPx: 240 } },
};

export const shortPlanText = `plan: short
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - leak-check: { frames: 4 }
  - flat: { blur: diffuser, frames: 12 }
  - images: { frames: 2 }
`;

export const sceneRigText = `rig: scene
site: { latitudeDegrees: 46.5, longitudeDegrees: 9.8, elevationMetres: 1720 }
optics: { apertureMm: 60, focalLengthMm: 378, wavelengthNm: 656.28 }
sunFilter: { describe: simulated, madeForThisInstrument: true, lastConfirmed: 2026-06-01, confirmAgainAfterDays: 90 }
limits: { freeDiskMegabytesMin: 50 }
servers: { scene: { indi: { host: 127.0.0.1, port: 7624 } } }
devices:
  camera: { server: scene, device: Scene Camera }
  mount: { server: scene, device: Scene Mount }
  cover: { server: scene, device: Scene Cover }
  diffuser: { server: scene, device: Scene Diffuser }
  focuser: { server: scene, device: Scene Focuser }
  wheel: { server: scene, device: Scene Wheel }
  rotator: { server: scene, device: Scene Rotator }
  dome: { server: scene, device: Scene Dome }
  weather: { server: scene, device: Scene Weather }
`;
