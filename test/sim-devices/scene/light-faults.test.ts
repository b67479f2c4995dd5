import { describe, expect, test } from "vitest";
import { ScenePainter } from "../../../sim-devices/scene/painter.ts";
import type { LightPath } from "../../../sim-devices/scene/painter-contract.ts";
import { overrideScene, type SceneOverrides } from "../../../sim-devices/scene/spec/override-scene.ts";
import { ask, lightOn, meanOf, moments, plainScene } from "./plain-scene.ts";

const plain = plainScene();
const plainPainter = new ScenePainter(plain);
const [widthPx, heightPx] = [plain.camera.widthPx, plain.camera.heightPx];
const [middleX, middleY] = [(widthPx - 1) / 2, (heightPx - 1) / 2];
const discElectrons = 0.003 * plain.sun.centreElectronsPerSecond;

type Rig = NonNullable<SceneOverrides["rig"]>;
const throughSheet = (change: Partial<LightPath> = {}) =>
  lightOn(plain, { diffuserInPlace: true, ...change });

/** Expected light with the rig's fault over that without. */
function factor(rig: Rig, light: LightPath): Float32Array {
  const faulty = new ScenePainter(overrideScene(plain, { rig })).expectedElectrons(light, ask(plain));
  const sound = plainPainter.expectedElectrons(light, ask(plain));
  return faulty.map((electrons, i) => electrons / sound[i]!);
}

/** Light that the rig's fault adds, over that of the bare disc's centre. */
function added(rig: Rig, light: LightPath): Float32Array {
  const faulty = new ScenePainter(overrideScene(plain, { rig })).expectedElectrons(light, ask(plain));
  const sound = plainPainter.expectedElectrons(light, ask(plain));
  return faulty.map((electrons, i) => (electrons - sound[i]!) / discElectrons);
}

const at = (map: Float32Array, xPx: number, yPx: number) => map[yPx * widthPx + xPx]!;

describe("a diffuser that is not what it should be", () => {
  test("a clear share: the sharp disc lies on the even light, 1 + share of its level", () => {
    const light = { sunEastArcsec: 300, sunNorthArcsec: -200 };
    const disc = plainPainter.expectedElectrons(lightOn(plain, light), ask(plain));
    const seen = factor({ diffuser: { clearShare: 0.03 } }, throughSheet(light));
    for (let i = 0; i < seen.length; i++) {
      expect(Math.abs(seen[i]! - 1 - (0.03 * disc[i]!) / discElectrons)).toBeLessThan(1e-5);
    }
    expect(Math.max(...seen)).toBeGreaterThan(1.0295);
    expect(Math.min(...seen)).toBe(1);
  });

  test("light that falls off: by the square of the distance from the middle, wholly at the corner", () => {
    const seen = factor({ diffuser: { fallOffAtCorner: 0.03 } }, throughSheet());
    expect(at(seen, 0, 0)).toBeCloseTo(0.97, 6);
    expect(at(seen, widthPx - 1, heightPx - 1)).toBeCloseTo(0.97, 6);
    expect(at(seen, 160, 120)).toBeCloseTo(1, 5);
    expect(at(seen, 80, 60)).toBeCloseTo(
      1 - 0.03 * (Math.hypot(79.5, 59.5) / Math.hypot(middleX, middleY)) ** 2,
      6,
    );
  });

  test("a tilted sheet: a plane, peak to peak over the width; it turns with the tube", () => {
    const rig = { diffuser: { slope: { peakToPeak: 0.02, degrees: 0 } } };
    const seen = factor(rig, throughSheet());
    expect(at(seen, 319, 20) - at(seen, 0, 20)).toBeCloseTo(0.02 * (319 / 320), 6);
    expect(at(seen, 50, 0)).toBeCloseTo(at(seen, 50, 239), 6);
    const turned = factor(rig, throughSheet({ rotatorDegrees: plain.startsWith.rotatorDegrees + 90 }));
    expect(at(turned, 20, 239) - at(turned, 20, 0)).toBeCloseTo(0.02 * (239 / 320), 6);
    expect(at(turned, 0, 50)).toBeCloseTo(at(turned, 319, 50), 6);
  });

  test("patches: Gaussian, brighter or darker, where they are", () => {
    const patch = { xPx: 100, yPx: 80, sigmaPx: 30, excess: 0.01 };
    const seen = factor(
      { diffuser: { patches: [patch, { ...patch, xPx: 250, excess: -0.02 }] } },
      throughSheet(),
    );
    expect(at(seen, 100, 80)).toBeCloseTo(1.01, 5);
    expect(at(seen, 130, 80)).toBeCloseTo(1 + 0.01 * Math.exp(-0.5) - 0.02 * Math.exp(-8), 5);
    expect(at(seen, 250, 80)).toBeCloseTo(0.98, 5);
    expect(at(seen, 100, 230)).toBeCloseTo(1, 5);
  });

  describe("a gap at the rim", () => {
    const gap = { areaFraction: 2e-4, widthMm: 1, degrees: 0 };
    const rig = { diffuser: { rimGap: gap } };

    test("its share of the aperture gives its share of the Sun's light, with a softer limb than the disc's", () => {
      const disc = moments(plainPainter.expectedElectrons(lightOn(plain), ask(plain)), widthPx);
      const beside = added(rig, throughSheet());
      const sliver = moments(beside, widthPx);
      expect(sliver.sum / (disc.sum / discElectrons) / gap.areaFraction).toBeCloseTo(1, 2);
      // 0.42 λ f / width: 5.74 px, in quadrature on the whole aperture's 0.36 px
      const pixelMm = plain.camera.pixelMicron / 1000;
      const blurPx = (0.42 * 656.28e-6 * 100) / pixelMm;
      expect((sliver.xx - disc.xx) / (blurPx ** 2 * (1 - 1 / 16 ** 2))).toBeCloseTo(1, 1);
    });

    test("before focus and behind it, its picture lies on either side", () => {
      const place = (steps: number) =>
        moments(added(rig, throughSheet({ focusSteps: plain.focuser.bestSteps + steps })), widthPx);
      // 0.2 mm behind focus at f/6.25: the aperture's rim is 16 µm off, 3.3 px
      expect(place(100).xPx - middleX).toBeCloseTo(3.33, 1);
      expect(place(-100).xPx - middleX).toBeCloseTo(-3.33, 1);
      expect(place(100).yPx - middleY).toBeCloseTo(0, 1);
    });

    test("lets nothing in past an open sheet or a closed cover", () => {
      expect(Math.max(...added(rig, lightOn(plain)))).toBe(0);
      expect(Math.max(...added(rig, throughSheet({ coverOpenFraction: 0 })))).toBe(0);
    });
  });
});

describe("a ghost", () => {
  const ghost = { share: 0.02, motion: -1, xPx: 150, yPx: 110, radiusPx: 30, edgePx: 6 };

  test.each([-2, -1, -0.5, 0, 0.5, 1, 2])("moves by %s of the Sun's motion and adds its share", (motion) => {
    const light = { sunEastArcsec: 200, sunNorthArcsec: 100 };
    const sun = moments(plainPainter.expectedElectrons(lightOn(plain, light), ask(plain)), widthPx);
    const spot = added({ ghosts: [{ ...ghost, motion }] }, lightOn(plain, light));
    const seen = moments(spot, widthPx);
    expect(seen.xPx).toBeCloseTo(150 + motion * (sun.xPx - middleX), 1);
    expect(seen.yPx).toBeCloseTo(110 + motion * (sun.yPx - middleY), 1);
    expect(at(spot, Math.round(seen.xPx), Math.round(seen.yPx))).toBeCloseTo(0.02, 6);
    expect(seen.sum / (0.02 * Math.PI * 30 ** 2)).toBeCloseTo(1, 2);
  });

  test("falls on pixels, not through the optics: vignetting and dust are not in it, their response is", () => {
    const rig = { vignetting: { atCorner: 0.3, offsetXPx: 0, offsetYPx: 0 } };
    const camera = { pixelResponseSd: 0.05 };
    const of = (ghosts: (typeof ghost)[]) =>
      new ScenePainter(overrideScene(plain, { camera, rig: { ...rig, ghosts } }));
    const light = lightOn(plain);
    const [sound, faulty] = [of([]), of([{ ...ghost, motion: 0, xPx: 30, yPx: 30 }])];
    const lit = sound.expectedElectrons(light, ask(plain));
    const spot = faulty.expectedElectrons(light, ask(plain)).map((e, i) => (e - lit[i]!) / discElectrons);
    const response = new ScenePainter(overrideScene(plain, { camera })).truth().flat;
    for (const xPx of [20, 30, 40]) expect(at(spot, xPx, 30) / at(response, xPx, 30)).toBeCloseTo(0.02, 3);
  });

  test("of the even light: standing it is the same spot, moving it fills the field", () => {
    const standing = factor({ ghosts: [{ ...ghost, motion: 0 }] }, throughSheet());
    expect(at(standing, 150, 110)).toBeCloseTo(1.02, 6);
    expect(at(standing, 200, 110)).toBe(1);
    const moving = factor({ ghosts: [{ ...ghost, motion: 1 }] }, throughSheet());
    expect(Math.min(...moving)).toBeCloseTo(1.02, 6);
  });

  test("spreads out of focus without gaining light, and is gone with the Sun", () => {
    const rig = { ghosts: [ghost] };
    const sum = (map: Float32Array) => meanOf(map) * map.length;
    const away = sum(added(rig, lightOn(plain, { focusSteps: plain.focuser.bestSteps + 1000 })));
    expect(away / sum(added(rig, lightOn(plain)))).toBeCloseTo(1.02 ** -2, 1); // the picture grows by 2 mm of 100
    expect(Math.max(...added(rig, lightOn(plain, { sunEastArcsec: 7200 })))).toBe(0);
  });
});

describe("a bent response", () => {
  const level = (
    response: { quadratic: number; shoulder: number } | undefined,
    fullScales: number,
    gain: number,
  ) => {
    const scene = plainScene({ camera: { response, fullWellElectrons: 1e6 } });
    const painter = new ScenePainter(scene);
    const truth = painter.truth({ gain });
    const seconds = (fullScales * 4095 * truth.electronsPerAdu) / (0.01 * scene.sun.centreElectronsPerSecond);
    return (meanOf(painter.paint(throughSheet(), ask(scene, { seconds, gain }))) - 100) / 4095;
  };

  test.each([0, 200])("at gain %i: true signal less quadratic·y² and shoulder·y⁵ of full scale", (gain) => {
    for (const y of [0.1, 0.4, 0.9]) {
      expect(level({ quadratic: 0.05, shoulder: 0 }, y, gain)).toBeCloseTo(y - 0.05 * y * y, 3);
      expect(level({ quadratic: 0, shoulder: 0.03 }, y, gain)).toBeCloseTo(y - 0.03 * y ** 5, 3);
      expect(level(undefined, y, gain)).toBeCloseTo(y, 3);
    }
  });

  test("light far beyond full scale still clips", () => {
    expect(level({ quadratic: 0.2, shoulder: 0.1 }, 20, 0)).toBe((4095 - 100) / 4095);
  });
});

test("the truth knows what a flat holds besides the true gain: all faults at once, as measured", () => {
  const small = { widthPx: 64, heightPx: 48 };
  const scene = plainScene({
    camera: {
      ...small,
      pixelMicron: 24,
      response: { quadratic: 0.04, shoulder: 0.02 },
      pixelResponseSd: 0.01,
    },
    startsWith: { region: { xPx: 0, yPx: 0, ...small } },
    rig: {
      vignetting: { atCorner: 0.3 },
      diffuser: {
        clearShare: 0.03,
        fallOffAtCorner: 0.03,
        slope: { peakToPeak: 0.02, degrees: 40 },
        patches: [{ xPx: 20, yPx: 20, sigmaPx: 8, excess: 0.02 }],
        rimGap: { areaFraction: 1e-4, widthMm: 0.3, degrees: 70 },
      },
      ghosts: [{ share: 0.03, motion: 0, xPx: 40, yPx: 25, radiusPx: 8, edgePx: 2 }],
    },
  });
  const painter = new ScenePainter(scene);
  const seconds = 0.3;
  const light = throughSheet();
  const { flat, readNoiseElectrons } = painter.truth({ gain: 0 });
  const frames = 64;
  const sum = new Float64Array(flat.length);
  for (let frameNumber = 0; frameNumber < frames; frameNumber++) {
    painter.paint(light, ask(scene, { seconds, frameNumber })).forEach((adu, i) => {
      sum[i]! += (adu - 100) / frames;
    });
  }
  const error = painter.lightError(light, { seconds, gain: 0 });
  expect(Math.max(...error) - Math.min(...error)).toBeGreaterThan(0.06);
  const left = flat.map((level, i) => Math.log(sum[i]! / level) - error[i]!);
  const electrons = 3.6 * meanOf(sum);
  const noise = Math.sqrt((electrons + readNoiseElectrons ** 2) / frames) / electrons;
  const mean = meanOf(left);
  const rms = Math.sqrt(meanOf(left.map((value) => (value - mean) ** 2)));
  expect(rms / noise).toBeGreaterThan(0.85);
  expect(rms / noise).toBeLessThan(1.15);
});
