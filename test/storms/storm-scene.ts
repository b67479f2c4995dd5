import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { sunPlace } from "../../sim-devices/scene/sun/sun-place.ts";
import { sceneOfWidth } from "../stage/scenes.ts";
import type { Storm } from "./storm.ts";

const sizePx = 72;

/** A smooth Sun on the smallest sensor that shows enough of the limb for a disc to be centred by it. */
export const stormScene: SceneSpec = (() => {
  const scene = sceneOfWidth(sizePx, 0);
  const { camera, sun, startsWith } = scene;
  return {
    ...scene,
    // Square, and as high as the demo's field.
    camera: { ...camera, widthPx: sizePx, heightPx: sizePx, pixelMicron: (camera.pixelMicron * 3) / 4 },
    sun: {
      ...sun,
      granulation: { rms: 0, scaleArcsec: 6 },
      network: { rms: 0, scaleArcsec: 24 },
      spots: [],
      plages: [],
      filaments: [],
    },
    startsWith: { ...startsWith, region: { xPx: 0, yPx: 0, widthPx: sizePx, heightPx: sizePx } },
  };
})();

/** The scene as a storm finds it. */
export function sceneOf({ seed, found, rig }: Storm): SceneSpec {
  const { mount, startsWith } = stormScene;
  const noCover = rig.without.includes("cover");
  return {
    ...stormScene,
    seed,
    startsWith: {
      ...startsWith,
      cover: noCover ? "open" : found.cover,
      diffuserInPlace: found.diffuserIn,
    },
    mount: {
      ...mount,
      startsParked: found.pointing === "parked",
      startsTracking: found.pointing === "atSun",
      startPointing: found.pointing === "atSun" ? atSun() : { hourAngleHours: -2, decDegrees: 60 },
    },
  };
}

/** Where the mount has to believe that it points for the Sun to be on the axis. */
function atSun() {
  const { site, startUtc, mount } = stormScene;
  const sun = sunPlace(site, Date.parse(startUtc));
  const { east, north } = mount.pointingErrorDegrees;
  const eastOnAxis = east / Math.cos((sun.decDegrees * Math.PI) / 180);
  return {
    hourAngleHours: (sun.hourAngleDegrees + eastOnAxis) / 15,
    decDegrees: sun.decDegrees - north,
  };
}
