import type { Random } from "../../../drivers/kit/random.ts";
import type { SceneSpec } from "./scene-spec.ts";

type Camera = SceneSpec["camera"];
type Optics = SceneSpec["optics"];

/** A monochrome CMOS camera with a 12-bit converter. */
export function drawCamera(random: Random): Camera {
  const electronsPerCode = random.between(2.4, 5);
  return {
    widthPx: 640,
    heightPx: 480,
    pixelMicron: random.pick([2.4, 2.9, 3.45, 3.75, 4.8, 5.86]),
    angleDegrees: random.between(-180, 180),
    parity: random.pick([1, -1] as const),
    bits: 12,
    words: random.pick(["shifted", "repeated", "scaled"] as const),
    fullWellElectrons: electronsPerCode * 4095 * random.between(1.02, 1.2),
    electronsPerCodeAtGain0: electronsPerCode,
    gainUnitsPerTenfold: 200,
    gainMax: 400,
    offsetMax: 250,
    codesPerOffsetUnit: 1,
    pedestalWanderCodes: 0.02,
    readNoiseElectrons: { beforeGain: random.between(0.8, 1.6), afterGain: random.between(1.5, 4) },
    dark: {
      electronsPerSecond: random.between(0.1, 2),
      atCelsius: 20,
      doublingCelsius: random.between(5.5, 7),
      unevenness: 0.25,
      glowElectronsPerSecond: random.uniform() < 0.5 ? random.between(0, 8) : 0,
    },
    hotPixels: {
      fraction: 10 ** random.between(-4.5, -3.3),
      electronsPerSecondMin: 50,
      electronsPerSecondMax: 20_000,
    },
    deadPixels: { fraction: 10 ** random.between(-5.5, -4.3), response: random.between(0, 0.3) },
    pixelResponseSd: random.between(0.003, 0.01),
    columnResponseSd: random.between(0, 0.003),
    columnOffsetElectronsSd: random.between(0, 0.8),
    binningMax: 4,
    binningMode: random.pick(["sum", "average"] as const),
    exposureSecondsMin: 32e-6,
    exposureSecondsMax: 120,
    readoutSeconds: 0.02,
    ambientCelsius: random.between(5, 30),
    coolerCelsiusMin: -15,
  };
}

/** Optics that show the disc between a third of the frame's height and three times it. */
export function drawOptics(random: Random, camera: Camera): Optics {
  const discRadians = (2 * 959.23 * Math.PI) / 648_000;
  const discPx = camera.heightPx * 10 ** random.between(Math.log10(1 / 3), Math.log10(3));
  const focalLengthMm = (discPx * camera.pixelMicron) / 1000 / discRadians;
  return {
    focalLengthMm,
    apertureMm: focalLengthMm / random.between(6, 12),
    obstructionRatio: random.uniform() < 0.6 ? 0 : random.between(0.2, 0.4),
    wavelengthNm: random.pick([656.28, 656.28, 656.28, 540, 430.5, 393.37]),
  };
}
