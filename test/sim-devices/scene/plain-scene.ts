import type { ExposureAsk, LightPath } from "../../../sim-devices/scene/painter-contract.ts";
import { demoScene } from "../../../sim-devices/scene/spec/demo-scene.ts";
import { overrideScene, type SceneOverrides } from "../../../sim-devices/scene/spec/override-scene.ts";
import type { SceneSpec } from "../../../sim-devices/scene/spec/scene-spec.ts";

/** A perfect rig under a perfect sky before a featureless Sun: what a test does not switch on is not there. */
export function plainScene(overrides: SceneOverrides = {}): SceneSpec {
  const plain = overrideScene(demoScene, {
    seed: 7,
    camera: {
      widthPx: 320,
      heightPx: 240,
      angleDegrees: 0,
      words: "plain",
      pedestalWanderCodes: 0,
      dark: { electronsPerSecond: 0, unevenness: 0, glowElectronsPerSecond: 0 },
      hotPixels: { fraction: 0 },
      deadPixels: { fraction: 0 },
      pixelResponseSd: 0,
      columnResponseSd: 0,
      columnOffsetElectronsSd: 0,
    },
    // 9.9 arcsec a pixel: a disc of 194 px across
    optics: { focalLengthMm: 100, apertureMm: 16 },
    sun: { granulation: { rms: 0 }, network: { rms: 0 }, spots: [], plages: [], filaments: [] },
    sky: { extinctionMagPerAirmass: 0, seeingArcsec: 8, aureoleFraction: 0, cloud: { lossMax: 0 } },
    rig: {
      vignetting: { atCorner: 0, offsetXPx: 0, offsetYPx: 0 },
      unevenTransmission: { peakToPeak: 0 },
      gradient: { peakToPeak: 0 },
      hotSpot: { peak: 0 },
      dust: [],
    },
    startsWith: { region: { xPx: 0, yPx: 0, widthPx: 320, heightPx: 240 } },
  });
  return overrideScene(plain, overrides);
}

/** The Sun high and centred, everything out of its way. */
export function lightOn(spec: SceneSpec, change: Partial<LightPath> = {}): LightPath {
  return {
    sunEastArcsec: 0,
    sunNorthArcsec: 0,
    smearEastArcsec: 0,
    smearNorthArcsec: 0,
    sunAltitudeDegrees: 60,
    sunSemidiameterArcsec: 959.23,
    sunPoleDegrees: 0,
    coverOpenFraction: 1,
    diffuserInPlace: false,
    focusSteps: spec.focuser.bestSteps,
    wheelSlot: 1,
    rotatorDegrees: spec.startsWith.rotatorDegrees,
    transparency: 1,
    ...change,
  };
}

export function ask(spec: SceneSpec, change: Partial<ExposureAsk> = {}): ExposureAsk {
  const { widthPx, heightPx } = spec.camera;
  return {
    seconds: 0.003,
    frameType: "light",
    gain: 0,
    offset: 100,
    binning: 1,
    region: { xPx: 0, yPx: 0, widthPx, heightPx },
    sensorCelsius: 0,
    frameNumber: 1,
    ...change,
  };
}

/** Sum, centre and second moments about it of an image, from their definitions. */
export function moments(image: ArrayLike<number>, widthPx: number) {
  let sum = 0;
  let sx = 0;
  let sy = 0;
  for (let i = 0; i < image.length; i++) {
    sum += image[i]!;
    sx += image[i]! * (i % widthPx);
    sy += image[i]! * Math.floor(i / widthPx);
  }
  const xPx = sx / sum;
  const yPx = sy / sum;
  let xx = 0;
  let yy = 0;
  let xy = 0;
  for (let i = 0; i < image.length; i++) {
    const dx = (i % widthPx) - xPx;
    const dy = Math.floor(i / widthPx) - yPx;
    xx += image[i]! * dx * dx;
    yy += image[i]! * dy * dy;
    xy += image[i]! * dx * dy;
  }
  return { sum, xPx, yPx, xx: xx / sum, yy: yy / sum, xy: xy / sum };
}

export function meanOf(values: ArrayLike<number>): number {
  let sum = 0;
  for (let i = 0; i < values.length; i++) sum += values[i]!;
  return sum / values.length;
}

/** Temporal variance from a pair of like frames: fixed pattern cancels. */
export function pairVariance(a: ArrayLike<number>, b: ArrayLike<number>): number {
  const n = a.length;
  let sum = 0;
  let sum2 = 0;
  for (let i = 0; i < n; i++) {
    const d = a[i]! - b[i]!;
    sum += d;
    sum2 += d * d;
  }
  return (sum2 - (sum * sum) / n) / (n - 1) / 2;
}
