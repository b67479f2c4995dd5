import type { SceneSpec } from "../../sim-devices/scene/spec/scene-spec.ts";
import { sunPlace } from "../../sim-devices/scene/sun/sun-place.ts";
import { sceneOfWidth } from "../stage/scenes.ts";
import type { Storm } from "./storm.ts";
import { sunAltitudeDegreesMin } from "./storm-plans.ts";

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

/** Through a focal length that leaves no room for the limb, as flats without a diffuser need it. */
const closeUp: SceneSpec = {
  ...stormScene,
  optics: { ...stormScene.optics, apertureMm: 150, focalLengthMm: 6 * stormScene.optics.focalLengthMm },
};

/** The scene as a storm finds it. */
export function sceneOf({ seed, plan, found, rig, sinksAfterSeconds }: Storm): SceneSpec {
  const { mount, startsWith, startUtc: noonUtc } = stormScene;
  const noCover = rig.without.includes("cover");
  const startUtc =
    sinksAfterSeconds === undefined
      ? noonUtc
      : new Date(sinkingUtcMs() - sinksAfterSeconds * 1000).toISOString();
  return {
    ...(plan === "drift" || plan === "defocus" ? closeUp : stormScene),
    seed,
    startUtc,
    startsWith: {
      ...startsWith,
      cover: noCover ? "open" : found.cover,
      diffuserInPlace: found.diffuserIn,
    },
    mount: {
      ...mount,
      startsParked: found.pointing === "parked",
      startsTracking: found.pointing === "atSun",
      startPointing: found.pointing === "atSun" ? atSun(startUtc) : { hourAngleHours: -2, decDegrees: 60 },
    },
  };
}

/** Where the mount has to believe that it points for the Sun to be on the axis. */
function atSun(startUtc: string) {
  const { site, mount } = stormScene;
  const sun = sunPlace(site, Date.parse(startUtc));
  const { east, north } = mount.pointingErrorDegrees;
  const eastOnAxis = east / Math.cos((sun.decDegrees * Math.PI) / 180);
  return {
    hourAngleHours: (sun.hourAngleDegrees + eastOnAxis) / 15,
    decDegrees: sun.decDegrees - north,
  };
}

/** When the Sun sinks below the plans' limit, on the afternoon after the scene's beginning [UTC ms]. */
function sinkingUtcMs(): number {
  const { site, startUtc } = stormScene;
  const isHigh = (utcMs: number) => sunPlace(site, utcMs).altitudeDegrees > sunAltitudeDegreesMin;
  let [highMs, lowMs] = [Date.parse(startUtc), Date.parse(startUtc) + 10 * 3_600_000];
  while (lowMs - highMs > 1000) {
    const middleMs = (highMs + lowMs) / 2;
    if (isHigh(middleMs)) highMs = middleMs;
    else lowMs = middleMs;
  }
  return lowMs;
}
