import { readFileSync } from "node:fs";
import { decode } from "fast-png";
import { describe, expect, test } from "vitest";
import { trueDisc } from "../../../sim-devices/scene/optics/image-geometry.ts";
import { ScenePainter } from "../../../sim-devices/scene/painter.ts";
import type { LightPath } from "../../../sim-devices/scene/painter-contract.ts";
import type { SceneOverrides } from "../../../sim-devices/scene/spec/override-scene.ts";
import { limbDarkening } from "../../../sim-devices/scene/sun/limb-darkening.ts";
import { ask, lightOn, meanOf, moments, plainScene } from "./plain-scene.ts";

function picture(overrides: SceneOverrides, change: Partial<LightPath> = {}) {
  const spec = plainScene(overrides);
  const painter = new ScenePainter(spec);
  const image = painter.expectedElectrons(lightOn(spec, change), ask(spec));
  return { image, spec, scale: painter.truth().arcsecPerPx, ...moments(image, spec.camera.widthPx) };
}

/** 0.49993 arcsec/px, camera 9.980 degrees; disc drawn small so that its centroid can be taken. */
const finelySampled: SceneOverrides = {
  camera: { pixelMicron: 3, angleDegrees: 9.98 },
  optics: { focalLengthMm: (3e-3 / 0.49993) * 206264.806, apertureMm: 100 },
  sky: { seeingArcsec: 0.5 },
};

describe("where the Sun falls", () => {
  test("the Sun on the axis is in the middle of the sensor, whatever the angle and parity", () => {
    for (const [angleDegrees, parity] of [
      [0, 1],
      [77, -1],
      [-140, 1],
    ] as const) {
      const { xPx, yPx } = picture({ camera: { angleDegrees, parity } });
      expect(xPx).toBeCloseTo(159.5, 2);
      expect(yPx).toBeCloseTo(119.5, 2);
    }
  });

  test("its size is the ephemeris' over the plate scale: flux of a limb-darkened disc, to 0.02 px", () => {
    const a = limbDarkening(656.28);
    const mean = 2 * a.reduce((sum, value, k) => sum + value / (k + 2), 0);
    for (const sunSemidiameterArcsec of [943.53, 959.23, 975.5]) {
      const { sum, spec, scale } = picture({}, { sunSemidiameterArcsec });
      expect(scale).toBeCloseTo((206264.806 * 0.0048) / 100, 3);
      const radiusPx = Math.sqrt(sum / (Math.PI * mean * spec.sun.centreElectronsPerSecond * 0.003));
      expect(Math.abs(radiusPx - sunSemidiameterArcsec / scale)).toBeLessThan(0.02);
    }
  });

  test("nudging the line of sight moves the picture by the worked example of two nudges of 60 arcsec", () => {
    const small = { sunSemidiameterArcsec: 20 };
    for (const [camera, p1, p2] of [
      [{ angleDegrees: 9.98, parity: 1 }, [118.2, 20.8], [-20.8, 118.2]],
      [{ angleDegrees: 9.98 - 180, parity: -1 }, [-118.2, -20.8], [-20.8, 118.2]],
    ] as const) {
      const set: SceneOverrides = {
        ...finelySampled,
        camera: { ...finelySampled.camera, ...camera, heightPx: 320 },
      };
      const before = picture(set, small);
      const east = picture(set, { ...small, sunEastArcsec: -60 });
      const north = picture(set, { ...small, sunNorthArcsec: -60 });
      expect(east.xPx - before.xPx).toBeCloseTo(p1[0], 1);
      expect(east.yPx - before.yPx).toBeCloseTo(p1[1], 1);
      expect(north.xPx - before.xPx).toBeCloseTo(p2[0], 1);
      expect(north.yPx - before.yPx).toBeCloseTo(p2[1], 1);
    }
  });

  test("the truth about the disc is where the light falls", () => {
    const change = { sunEastArcsec: 310, sunNorthArcsec: -95, rotatorDegrees: 31 };
    const { spec, xPx, yPx } = picture({ camera: { angleDegrees: -61, parity: -1 } }, change);
    const disc = trueDisc(spec, lightOn(spec, change));
    expect(xPx).toBeCloseTo(disc.xPx, 2);
    expect(yPx).toBeCloseTo(disc.yPx, 2);
  });

  test("turning the rotator turns the sky on the sensor like a larger camera angle", () => {
    const offset = { sunEastArcsec: 300, sunNorthArcsec: -200 };
    const turned = picture({ camera: { angleDegrees: 10 } }, { ...offset, rotatorDegrees: 25 });
    const angled = picture({ camera: { angleDegrees: 35 } }, offset);
    expect(turned.xPx).toBeCloseTo(angled.xPx, 3);
    expect(turned.yPx).toBeCloseTo(angled.yPx, 3);
  });

  test.each([
    // camera, pole, spot on the disc (west, north), where it must lie from the disc's centre: x, y signs
    ["north up, west right", { angleDegrees: 0, parity: 1 }, 0, { u: 0.6, v: 0 }, [1, 0]],
    ["solar north is up", { angleDegrees: 0, parity: 1 }, 0, { u: 0, v: 0.6 }, [0, -1]],
    ["pole towards sky east is left", { angleDegrees: 0, parity: 1 }, 90, { u: 0, v: 0.6 }, [-1, 0]],
    ["a mirror swaps north and south only", { angleDegrees: 0, parity: -1 }, 0, { u: 0, v: 0.6 }, [0, 1]],
    ["camera turned by 90: west is down", { angleDegrees: 90, parity: 1 }, 0, { u: 0.6, v: 0 }, [0, 1]],
  ] as const)("a spot lies where the sky says: %s", (_name, camera, sunPoleDegrees, at, [sx, sy]) => {
    const clean = picture({ camera }, { sunPoleDegrees });
    const spotted = picture(
      { camera, sun: { spots: [{ at, radiusArcsec: 60, depth: 0.8 }] } },
      { sunPoleDegrees },
    );
    const missing = clean.image.map((value, i) => value - spotted.image[i]!);
    const spot = moments(missing, 320);
    const radiusPx = 959.23 / clean.scale;
    expect((spot.xPx - 159.5) / radiusPx).toBeCloseTo(0.6 * sx, 1);
    expect((spot.yPx - 119.5) / radiusPx).toBeCloseTo(0.6 * sy, 1);
  });
});

describe("how sharp the picture is", () => {
  const base = { sky: { seeingArcsec: 20 } };
  const sharp = picture(base);

  test("seeing of a stated width adds its variance, and takes no light away", () => {
    const soft = picture({ sky: { seeingArcsec: 40 } });
    const variancePx = (fwhmArcsec: number) => (fwhmArcsec / 2.354820045 / soft.scale) ** 2;
    expect(soft.sum / sharp.sum).toBeCloseTo(1, 4);
    for (const added of [soft.xx - sharp.xx, soft.yy - sharp.yy]) {
      expect(Math.abs(added / (variancePx(40) - variancePx(20)) - 1)).toBeLessThan(0.01);
    }
  });

  test.each([
    [0, 500],
    [0, 100],
    [0.35, 500],
  ])(
    "obstruction %s, %s steps out of focus: the pupil's own size and the longer way to the sensor, by geometry",
    (obstructionRatio, steps) => {
      const spec = { ...base, optics: { obstructionRatio } };
      const soft = picture(spec, { focusSteps: 10_240 + steps });
      // distance over focal ratio, as a radius in pixels
      const radiusPx = (steps * 0.002) / (100 / 16) / 0.0048 / 2;
      expect(soft.sum / sharp.sum).toBeCloseTo(1, 3);
      expect(soft.xPx).toBeCloseTo(159.5, 1);
      const ring = (radiusPx ** 2 * (1 + obstructionRatio ** 2)) / 4; // variance along one axis of an even ring
      const grown = (1 + (steps * 0.002) / 100) ** 2; // the disc on a sensor behind the focus, over that in it
      for (const added of [soft.xx - grown * sharp.xx, soft.yy - grown * sharp.yy]) {
        expect(Math.abs(added - ring)).toBeLessThan(0.005 * ring + 0.12); // drawn in cells of a pixel
      }
    },
  );

  test("motion during the exposure smears along its own direction only", () => {
    const smeared = picture(base, { smearEastArcsec: 20 * sharp.scale });
    expect(smeared.xPx).toBeCloseTo(159.5, 2);
    expect(Math.abs((smeared.xx - sharp.xx) / (20 ** 2 / 12) - 1)).toBeLessThan(0.02);
    expect(Math.abs(smeared.yy - sharp.yy)).toBeLessThan(0.05);
  });
});

test("a Sun that wanders off and back is painted as if it had never moved", () => {
  const spec = plainScene({
    optics: { focalLengthMm: 500, apertureMm: 60 },
    sun: { network: { rms: 0.05 }, spots: [{ at: { u: 0.1, v: 0.1 }, radiusArcsec: 20, depth: 0.6 }] },
  });
  const travelled = new ScenePainter(spec);
  for (const sunEastArcsec of [0, 700, -900, 1700, 3000, 40]) {
    const light = lightOn(spec, { sunEastArcsec, sunNorthArcsec: sunEastArcsec / 3 });
    const seen = travelled.expectedElectrons(light, ask(spec));
    const fresh = new ScenePainter(spec).expectedElectrons(light, ask(spec));
    let worst = 0;
    for (let i = 0; i < seen.length; i++) worst = Math.max(worst, Math.abs(seen[i]! - fresh[i]!));
    expect(worst / 10_800).toBeLessThan(1e-4);
  }
});

describe("a real image as the surface", () => {
  const image = {
    file: new URL("../../data/sun-2013-06-24-193-512.png", import.meta.url).pathname,
    centreXPx: 255.5,
    centreYPx: 255.5,
    radiusPx: 196.5,
    poleDegrees: 0,
    contrastPower: 1,
  };
  const file = decode(readFileSync(image.file));

  /** Correlation of the painted disc with the file, read as if the painted one were turned and mirrored like this. */
  function likeness(
    painted: ReturnType<typeof picture>,
    place: (right: number, up: number) => [number, number],
  ) {
    const radiusPx = 959.23 / painted.scale;
    const pairs: [number, number][] = [];
    for (let y = 0; y < 240; y++) {
      for (let x = 0; x < 320; x++) {
        const right = (x - 159.5) / radiusPx;
        const up = -(y - 119.5) / radiusPx;
        if (Math.hypot(right, up) > 0.8) continue;
        const [fileRight, fileUp] = place(right, up);
        const column = Math.round(255.5 + 196.5 * fileRight);
        const row = Math.round(255.5 - 196.5 * fileUp);
        pairs.push([painted.image[y * 320 + x]!, file.data[row * 512 + column]!]);
      }
    }
    const mean = (k: 0 | 1) => meanOf(pairs.map((pair) => pair[k]));
    const [ma, mb] = [mean(0), mean(1)];
    const sum = (f: (a: number, b: number) => number) =>
      pairs.reduce((total, [a, b]) => total + f(a - ma, b - mb), 0);
    return sum((a, b) => a * b) / Math.sqrt(sum((a) => a * a) * sum((_, b) => b * b));
  }

  test("upright camera, pole up: the picture lies as in the file, not mirrored and not turned", () => {
    const painted = picture({ sun: { image } });
    expect(likeness(painted, (right, up) => [right, up])).toBeGreaterThan(0.9);
    expect(likeness(painted, (right, up) => [-right, up])).toBeLessThan(0.5);
    expect(likeness(painted, (right, up) => [right, -up])).toBeLessThan(0.5);
  });

  test("a pole 30 degrees east of sky north turns the disc's north to the left", () => {
    const painted = picture({ sun: { image } }, { sunPoleDegrees: 30 });
    const [c, s] = [Math.cos(Math.PI / 6), Math.sin(Math.PI / 6)];
    expect(likeness(painted, (right, up) => [c * right + s * up, c * up - s * right])).toBeGreaterThan(0.9);
    // A file whose own north leans by the same amount gives the upright picture back.
    const leaning = picture({ sun: { image: { ...image, poleDegrees: 30 } } }, { sunPoleDegrees: 30 });
    expect(likeness(leaning, (right, up) => [right, up])).toBeGreaterThan(0.9);
  });

  test("the power tames its contrast, and a missing file is named", () => {
    const contrast = (contrastPower: number) => {
      const painted = picture({ sun: { image: { ...image, contrastPower } } });
      const smooth = picture({}).image;
      return painted.image.reduce((sum, value, i) => sum + Math.abs(value - smooth[i]!), 0) / painted.sum;
    };
    expect(contrast(0.3)).toBeLessThan(0.6 * contrast(1));
    expect(contrast(0)).toBeLessThan(1e-6);
    expect(() => picture({ sun: { image: { ...image, file: "nowhere.png" } } })).toThrow("nowhere.png");
  });
});
