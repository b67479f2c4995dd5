import { Random } from "../../../drivers/kit/random.ts";
import { drawCamera, drawOptics } from "./draw-camera.ts";
import { drawFlaws } from "./draw-flaws.ts";
import { drawRig } from "./draw-rig.ts";
import { drawSun } from "./draw-sun.ts";
import { mergeDeep, type SceneOverrides } from "./override-scene.ts";
import { type SceneSpec, sceneSpecSchema } from "./scene-spec.ts";

type Camera = SceneSpec["camera"];
type Optics = SceneSpec["optics"];

/**
 * A random but realistic scene, the same for the same seed: the Sun from a third of the frame's height to three times it,
 * any camera angle, both parities, a mount up to 1.5 degrees wrong, 6 to 20 dust shadows, daylight.
 * No leak and no fringes unless asked for.
 * @param overrides what to fix; sizes that follow from the camera and optics (dust, hot spot) are drawn to fit them
 * @param flaws how uneven its light and how bent its sensor is: 1 is modest, 0 neither that nor wind, haze and the like
 * @throws ZodError if the overrides make no valid scene
 */
export function drawScene(seed: number, overrides: SceneOverrides = {}, flaws = 1): SceneSpec {
  const random = new Random(seed);
  const camera = mergeDeep(drawCamera(random.fork("camera")), overrides.camera) as Camera;
  const optics = mergeDeep(drawOptics(random.fork("optics"), camera), overrides.optics) as Optics;
  const focuser = mergeDeep(drawFocuser(random.fork("focuser")), overrides.focuser) as SceneSpec["focuser"];
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
  const drawn = mergeDeep(spec, drawFlaws(random.fork("flaws"), camera, slots, flaws));
  return sceneSpecSchema.parse(mergeDeep(drawn, { ...overrides, optics: undefined }));
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
