import { Random } from "../../drivers/kit/random.ts";
import { merged, type SceneOverrides } from "./override-scene.ts";
import { type SceneSpec, sceneSpecSchema } from "./scene-spec.ts";

type Camera = SceneSpec["camera"];
type Optics = SceneSpec["optics"];

/**
 * A random but realistic scene, the same for the same seed: the Sun from a third of the frame's height to three times it,
 * any camera angle, both parities, a mount up to 1.5 degrees wrong, 6 to 20 dust shadows, daylight.
 * No leak and no fringes unless asked for.
 * @param overrides what to fix; sizes that follow from the camera and optics (dust, hot spot) are drawn to fit them
 * @throws ZodError if the overrides make no valid scene
 */
export function drawScene(seed: number, overrides: SceneOverrides = {}): SceneSpec {
  const random = new Random(seed);
  const camera = merged(drawCamera(random.fork("camera")), overrides.camera) as Camera;
  const optics = merged(drawOptics(random.fork("optics"), camera), overrides.optics) as Optics;
  const focuser = merged(drawFocuser(random.fork("focuser")), overrides.focuser) as SceneSpec["focuser"];
  const slots = [
    { name: "narrowband", transmission: 1 },
    { name: "continuum", transmission: 0.7 },
  ];
  const spec = {
    seed,
    ...drawDay(random.fork("day")),
    optics,
    camera,
    sun: drawSun(random.fork("sun")),
    sky: drawSky(random.fork("sky")),
    rig: { ...drawRig(random.fork("rig"), camera, optics), slots },
    mount: drawMount(random.fork("mount")),
    focuser,
    startsWith: {
      gain: random.fork("gain").whole(0, 250),
      offset: 50,
      binning: 1,
      region: { xPx: 0, yPx: 0, widthPx: camera.widthPx, heightPx: camera.heightPx },
      coolerOn: camera.coolerCelsiusMin !== undefined,
      coolerCelsius: random.fork("cooler").whole(-10, 5),
      cover: random.fork("cover").pick(["open", "closed"] as const),
      diffuserInPlace: random.fork("diffuser").uniform() < 0.2,
      focusSteps: focuser.bestSteps,
      wheelSlot: 1,
      rotatorDegrees: random.fork("rotator").whole(0, 359),
    },
  };
  return sceneSpecSchema.parse(merged(spec, { ...overrides, camera: undefined, optics: undefined }));
}

function drawCamera(random: Random): Camera {
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

function drawOptics(random: Random, camera: Camera): Optics {
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

function drawSun(random: Random): SceneSpec["sun"] {
  const place = (furthest: number) => {
    const r = furthest * Math.sqrt(random.uniform());
    const direction = random.between(0, 2 * Math.PI);
    return { u: r * Math.cos(direction), v: r * Math.sin(direction) };
  };
  const some = <T>(low: number, high: number, make: () => T) =>
    Array.from({ length: random.whole(low, high) }, make);
  return {
    centreElectronsPerSecond: 10 ** random.between(6.1, 6.9),
    granulation: { rms: random.between(0.01, 0.05), scaleArcsec: random.between(3, 9) },
    network: { rms: random.between(0.01, 0.05), scaleArcsec: random.between(18, 35) },
    spots: some(0, 5, () => ({
      at: place(0.9),
      radiusArcsec: random.between(6, 30),
      depth: random.between(0.4, 0.8),
    })),
    plages: some(0, 5, () => ({
      at: place(0.85),
      radiusArcsec: random.between(30, 110),
      excess: random.between(0.1, 0.4),
    })),
    filaments: some(0, 4, () => {
      const start = place(0.7);
      const direction = random.between(0, 2 * Math.PI);
      const path = [0, 1, 2, 3].map((k) => ({
        u: start.u + 0.06 * k * Math.cos(direction + 0.25 * k) + random.between(-0.01, 0.01),
        v: start.v + 0.06 * k * Math.sin(direction + 0.25 * k) + random.between(-0.01, 0.01),
      }));
      return { path, widthArcsec: random.between(8, 20), depth: random.between(0.15, 0.35) };
    }),
  };
}

function drawSky(random: Random): SceneSpec["sky"] {
  return {
    extinctionMagPerAirmass: random.between(0.08, 0.25),
    seeingArcsec: random.between(1, 4),
    aureoleFraction: 10 ** random.between(-4.5, -3),
    cloud: {
      lossMax: random.uniform() < 0.5 ? random.between(0, 0.03) : 0,
      periodSeconds: random.between(60, 600),
    },
  };
}

function drawRig(random: Random, camera: Camera, optics: Optics): Omit<SceneSpec["rig"], "slots"> {
  const { widthPx, heightPx } = camera;
  const focalRatio = optics.focalLengthMm / optics.apertureMm;
  const inFrame = () => ({ xPx: random.between(0, widthPx), yPx: random.between(0, heightPx) });
  const dust = Array.from({ length: random.whole(6, 20) }, () => {
    const shadowPx = 10 ** random.between(Math.log10(14), Math.log10(0.17 * widthPx));
    const beamMm = (shadowPx * camera.pixelMicron) / 1000;
    const depth = 10 ** random.between(-1.8, -1);
    return {
      ...inFrame(),
      distanceMm: beamMm * focalRatio,
      speckMicron: 1000 * beamMm * Math.sqrt(depth * (1 - optics.obstructionRatio ** 2)),
      on: shadowPx > 50 ? random.pick(["camera", "tube"] as const) : ("camera" as const),
      ...(random.uniform() < 0.15 ? { slot: random.whole(1, 2) } : {}),
    };
  });
  return {
    vignetting: {
      atCorner: random.between(0.02, 0.35),
      offsetXPx: random.between(-0.08, 0.08) * widthPx,
      offsetYPx: random.between(-0.08, 0.08) * heightPx,
    },
    unevenTransmission: {
      peakToPeak: random.between(0, 0.1),
      scaleFractionOfWidth: random.between(0.5, 1.2),
    },
    gradient: { peakToPeak: random.between(0, 0.08), degrees: random.between(0, 360) },
    hotSpot: {
      ...inFrame(),
      sigmaPx: random.between(0.05, 0.12) * widthPx,
      peak: random.uniform() < 0.5 ? random.between(0, 0.06) : 0,
    },
    dust,
    diffuser: { transmission: 10 ** random.between(-2.2, -1.8), lobeDegrees: random.between(4, 10) },
  };
}

function drawMount(random: Random): SceneSpec["mount"] {
  const error = 1.5 * random.uniform();
  const direction = random.between(0, 2 * Math.PI);
  return {
    pointingErrorDegrees: { east: error * Math.cos(direction), north: error * Math.sin(direction) },
    driftArcsecPerSecond: { east: random.between(-0.05, 0.05), north: random.between(-0.05, 0.05) },
    backlashArcsec: { east: random.between(0, 25), north: random.between(0, 40) },
    slewDegreesPerSecond: random.between(1.5, 6),
    settleSeconds: random.between(0.3, 2),
    limits: { altitudeDegreesMin: 5, hourAngleHoursMax: 6.5 },
    startPointing: { hourAngleHours: random.between(-2, 2), decDegrees: random.between(60, 85) },
    startsParked: random.uniform() < 0.7,
    startsTracking: false,
  };
}

function drawFocuser(random: Random): SceneSpec["focuser"] {
  return {
    bestSteps: random.whole(6000, 14_000),
    micronPerStep: random.between(1, 4),
    stepsMin: 0,
    stepsMax: 20_000,
    stepsPerSecond: 900,
    backlashSteps: random.whole(0, 40),
  };
}

/** A site and a time with the Sun at least 25 degrees up; the Sun's place to a degree is enough for that. */
function drawDay(random: Random): Pick<SceneSpec, "startUtc" | "site"> {
  for (;;) {
    const latitudeDegrees = random.between(-55, 60);
    const longitudeDegrees = random.between(-180, 180);
    const dayOfYear = random.whole(0, 364);
    const hourAngleHours = random.between(-3, 3);
    const radian = Math.PI / 180;
    const declination = -23.44 * radian * Math.cos((2 * Math.PI * (dayOfYear + 10)) / 365.25);
    const latitude = latitudeDegrees * radian;
    const sine =
      Math.sin(latitude) * Math.sin(declination) +
      Math.cos(latitude) * Math.cos(declination) * Math.cos(hourAngleHours * 15 * radian);
    if (Math.asin(sine) / radian < 30) continue;
    const startMs =
      Date.UTC(random.whole(2024, 2030), 0, 1 + dayOfYear) +
      (12 + hourAngleHours - longitudeDegrees / 15) * 3_600_000;
    return {
      startUtc: new Date(Math.round(startMs)).toISOString(),
      site: { latitudeDegrees, longitudeDegrees, elevationMetres: random.whole(0, 2500) },
    };
  }
}
