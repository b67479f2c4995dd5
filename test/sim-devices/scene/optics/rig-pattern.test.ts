import { describe, expect, test } from "vitest";
import { ScenePainter } from "../../../../sim-devices/scene/painter.ts";
import { drawScene } from "../../../../sim-devices/scene/spec/draw-scene.ts";
import type { SceneOverrides } from "../../../../sim-devices/scene/spec/override-scene.ts";
import { ask, lightOn, meanOf, plainScene } from "../plain-scene.ts";

const f10 = { focalLengthMm: 1000, apertureMm: 100 };

/** The dust's own transmission: the flat with it over the flat without. */
function shadowOf(
  overrides: SceneOverrides,
  change: { focusSteps?: number; rotatorDegrees?: number; wheelSlot?: number } = {},
) {
  const spec = plainScene(overrides);
  const bare = plainScene({ ...overrides, rig: { ...overrides.rig, dust: [] } });
  const train = { wheelSlot: 1, rotatorDegrees: 0, focusSteps: spec.focuser.bestSteps, ...change };
  const truth = new ScenePainter(spec).truth(train);
  const without = new ScenePainter(bare).truth(train).flat;
  // Mean 1 is restored after the dust has taken its share; the corner far from the dust tells how much.
  const norm = truth.flat[0]! / without[0]!;
  return {
    truth,
    at: (x: number, y: number) => truth.flat[y * truth.widthPx + x]! / without[y * truth.widthPx + x]! / norm,
  };
}

describe("dust shadows by geometry", () => {
  test("100 px of 3.75 micron at f/10 come from 3.75 mm; a 0.05 mm speck in that beam takes 1.8 %", () => {
    const dust = [{ xPx: 160, yPx: 120, distanceMm: 3.75, speckMicron: 50, on: "camera" as const }];
    const { truth, at } = shadowOf({ optics: f10, camera: { pixelMicron: 3.75 }, rig: { dust } });
    expect(truth.dust[0]!.diameterPx).toBeCloseTo(100, 6);
    expect(at(160, 120)).toBeCloseTo(1 - (0.05 / 0.375) ** 2, 4);
    // Half depth lies on the rim, in every direction.
    for (const [dx, dy] of [
      [50, 0],
      [-50, 0],
      [0, 50],
      [0, -50],
      [30, 40],
    ] as const) {
      expect(at(160 + dx, 120 + dy)).toBeCloseTo(1 - (0.05 / 0.375) ** 2 / 2, 3);
    }
    expect(at(160 + 60, 120)).toBeCloseTo(1, 5);
  });

  test("the light that a shadow takes is the speck's area, for a full and for an obstructed pupil", () => {
    for (const obstructionRatio of [0, 0.3]) {
      const dust = [{ xPx: 160, yPx: 120, distanceMm: 3, speckMicron: 40, on: "camera" as const }];
      const { at } = shadowOf({
        optics: { ...f10, obstructionRatio },
        camera: { pixelMicron: 3.75 },
        rig: { dust },
      });
      let lost = 0;
      for (let y = 0; y < 240; y++) for (let x = 0; x < 320; x++) lost += 1 - at(x, y);
      // A pupil of beam diameter b, share 1 - e² of it lit: the shadow's area times depth is the speck's area in any case.
      const speckPx2 = (Math.PI / 4) * (40 / 3.75) ** 2;
      expect(Math.abs(lost / speckPx2 - 1)).toBeLessThan(0.02);
    }
  });

  test("a central obstruction leaves a bright middle of its own proportion", () => {
    const dust = [{ xPx: 160, yPx: 120, distanceMm: 3.75, speckMicron: 30, on: "camera" as const }];
    const { truth, at } = shadowOf({
      optics: { ...f10, obstructionRatio: 0.4 },
      camera: { pixelMicron: 3.75 },
      rig: { dust },
    });
    expect(truth.dust[0]!.holePx).toBeCloseTo(40, 6);
    const depth = 1 - at(160 + 35, 120);
    expect(depth).toBeCloseTo((0.03 / 0.375) ** 2 / (1 - 0.16), 4);
    expect(1 - at(160, 120)).toBeLessThan(0.02 * depth);
    expect((1 - at(180, 120)) / depth).toBeCloseTo(0.5, 1);
  });

  test("dust on the tube follows the focuser and the rotator, dust on the camera only sees the cone grow slimmer; slot dust stays in its slot", () => {
    const dust = [
      { xPx: 100, yPx: 120, distanceMm: 2, speckMicron: 30, on: "camera" as const },
      { xPx: 220, yPx: 120, distanceMm: 2, speckMicron: 30, on: "tube" as const },
      { xPx: 160, yPx: 60, distanceMm: 2, speckMicron: 30, on: "camera" as const, slot: 2 },
    ];
    const scene = { optics: f10, rig: { dust } };
    const { truth } = shadowOf(scene, { focusSteps: 10_240 + 500, rotatorDegrees: 90 }); // 2 micron a step: 1 mm
    expect(truth.dust).toHaveLength(2);
    const [camera, tube] = truth.dust;
    expect(camera).toMatchObject({ xPx: 100, yPx: 120 });
    const longer = 1 + 1 / f10.focalLengthMm; // the cone to a pixel ends at the aperture, 1 mm farther off
    expect(camera!.diameterPx).toBeCloseTo(2000 / 10 / 4.8 / longer, 6);
    expect(tube!.diameterPx).toBeCloseTo(3000 / 10 / 4.8 / longer, 6);
    expect(tube!.xPx).toBeCloseTo(159.5 - 0.5, 6);
    expect(tube!.yPx).toBeCloseTo(119.5 + 60.5, 6);
    const inWheel = { ...dust[1]!, slot: 1 };
    const wheel = shadowOf({ ...scene, rig: { dust: [inWheel] } }, { focusSteps: 10_240 + 500 }).truth
      .dust[0]!;
    expect(wheel.diameterPx).toBeCloseTo(2000 / 10 / 4.8 / longer, 6); // the wheel travels with the camera
    expect(shadowOf(scene, { wheelSlot: 2 }).truth.dust).toHaveLength(3);
  });
});

describe("smooth patterns", () => {
  const flatOf = (rig: SceneOverrides["rig"]) => new ScenePainter(plainScene({ rig })).truth().flat;
  const at = (flat: Float32Array, x: number, y: number) => flat[y * 320 + x]!;

  test("vignetting takes its stated share in the corners and is centred where stated", () => {
    const flat = flatOf({ vignetting: { atCorner: 0.3 } });
    expect(at(flat, 0, 0) / at(flat, 160, 120)).toBeCloseTo(0.7, 3);
    const off = flatOf({ vignetting: { atCorner: 0.3, offsetXPx: 40, offsetYPx: -30 } });
    expect(off.indexOf(off.reduce((a, b) => Math.max(a, b)))).toBe(89 * 320 + 199);
  });

  test("gradient, hot spot and uneven transmission have their stated heights", () => {
    const slope = flatOf({ gradient: { peakToPeak: 0.05, degrees: 0 } });
    expect(at(slope, 319, 120) - at(slope, 0, 120)).toBeCloseTo(0.05, 3);
    expect(at(slope, 100, 0)).toBeCloseTo(at(slope, 100, 239), 6);
    const spot = flatOf({ hotSpot: { xPx: 200, yPx: 100, sigmaPx: 10, peak: 0.06 } });
    expect(at(spot, 200, 100) / at(spot, 20, 200)).toBeCloseTo(1.06, 4);
    expect(at(spot, 210, 100) / at(spot, 20, 200)).toBeCloseTo(1 + 0.06 * Math.exp(-0.5), 4);
    const uneven = flatOf({ unevenTransmission: { peakToPeak: 0.08, scaleFractionOfWidth: 0.8 } });
    const sorted = uneven.toSorted();
    expect(sorted.at(-1)! - sorted[0]!).toBeCloseTo(0.08, 2);
    let steepest = 0;
    for (let i = 1; i < 320; i++) steepest = Math.max(steepest, Math.abs(uneven[i]! - uneven[i - 1]!));
    expect(steepest).toBeLessThan(0.08 / 40);
  });

  test("fringes have their period, direction and amplitude", () => {
    const flat = flatOf({ fringes: { periodPx: 20, degrees: 90, amplitude: 0.004 } });
    let re = 0;
    let im = 0;
    for (let y = 0; y < 240; y++) {
      re += at(flat, 50, y) * Math.cos((2 * Math.PI * y) / 20);
      im += at(flat, 50, y) * Math.sin((2 * Math.PI * y) / 20);
    }
    expect((2 * Math.hypot(re, im)) / 240).toBeCloseTo(0.004, 5);
    expect(at(flat, 10, 77)).toBe(at(flat, 300, 77));
  });

  test("the tube's pattern turns with the rotator about the sensor's middle", () => {
    const spec = plainScene({
      camera: { widthPx: 240 },
      rig: { hotSpot: { xPx: 180, yPx: 119.5, sigmaPx: 6, peak: 0.5 } },
    });
    const { flat } = new ScenePainter(spec).truth({ ...spec.startsWith, rotatorDegrees: 90 });
    const brightest = flat.indexOf(flat.reduce((a, b) => Math.max(a, b)));
    expect(Math.abs((brightest % 240) - 119.5)).toBeLessThanOrEqual(0.5);
    expect(Math.abs(Math.floor(brightest / 240) - 180)).toBeLessThanOrEqual(1);
  });
});

describe("the true flat", () => {
  const seed = 4711;
  const spec = drawScene(seed, { camera: { widthPx: 200, heightPx: 150 } }, 0);
  const painter = new ScenePainter(spec);
  const { flat } = painter.truth();
  const light = lightOn(spec, { diffuserInPlace: true });
  const seconds = 8000 / (spec.sun.centreElectronsPerSecond * spec.rig.diffuser.transmission);

  test(`has mean 1 and is what a noise-free diffuser frame shows (seed ${seed})`, () => {
    expect(meanOf(flat)).toBeCloseTo(1, 5);
    const lit = painter.expectedElectrons(light, ask(spec, { seconds }));
    const dark = painter.expectedElectrons({ ...light, coverOpenFraction: 0 }, ask(spec, { seconds }));
    const above = lit.map((value, i) => value - dark[i]!);
    const mean = meanOf(above);
    for (let i = 0; i < flat.length; i++) expect(Math.abs(above[i]! / mean - flat[i]!)).toBeLessThan(2e-4);
  });

  test(`divides the rig out of a picture of the Sun: what remains is the Sun of a perfect rig (seed ${seed})`, () => {
    const perfect = new ScenePainter({
      ...spec,
      camera: {
        ...spec.camera,
        pixelResponseSd: 0,
        columnResponseSd: 0,
        deadPixels: { fraction: 0, response: 1 },
      },
      rig: {
        ...spec.rig,
        dust: [],
        vignetting: { ...spec.rig.vignetting, atCorner: 0 },
        unevenTransmission: { peakToPeak: 0, scaleFractionOfWidth: 1 },
        gradient: { peakToPeak: 0, degrees: 0 },
        hotSpot: { ...spec.rig.hotSpot, peak: 0 },
      },
    });
    const bare = lightOn(spec);
    const mine = painter.expectedElectrons(bare, ask(spec, { sensorCelsius: -100 }));
    const clean = perfect.expectedElectrons(bare, ask(spec, { sensorCelsius: -100 }));
    for (let i = 0; i < flat.length; i++) {
      if (flat[i]! > 0.3)
        expect(Math.abs(mine[i]! / flat[i]! - clean[i]!)).toBeLessThan(1e-4 * clean[i]! + 1e-2);
    }
  });

  test(`averaging N frames comes to it as the photon limit says (seed ${seed})`, () => {
    const cool = { seconds, sensorCelsius: -20, gain: 0, offset: 50 };
    const sum = new Float64Array(flat.length);
    const dark = new Float64Array(flat.length);
    const code = new Map(wordsToCodes(spec));
    const errors: number[] = [];
    const frames = 32;
    for (let n = 0; n < frames; n++) {
      const lit = painter.paint(light, ask(spec, { ...cool, frameNumber: 2 * n }));
      const covered = painter.paint(
        { ...light, coverOpenFraction: 0 },
        ask(spec, { ...cool, frameNumber: 2 * n + 1 }),
      );
      for (let i = 0; i < sum.length; i++) {
        sum[i]! += code.get(lit[i]!)!;
        dark[i]! += code.get(covered[i]!)!;
      }
      if (n + 1 === 8 || n + 1 === frames) errors.push(errorOf(n + 1));
    }
    function errorOf(n: number): number {
      const { defects } = painter.truth();
      const level = meanOf(sum.map((value, i) => value - dark[i]!)) / n;
      const perCode = spec.camera.electronsPerCodeAtGain0;
      const read2 =
        spec.camera.readNoiseElectrons.beforeGain ** 2 + spec.camera.readNoiseElectrons.afterGain ** 2;
      let chi2 = 0;
      let healthy = 0;
      for (let i = 0; i < sum.length; i++) {
        if (defects[i] !== 0) continue;
        const seen = (sum[i]! - dark[i]!) / n / level;
        const variance =
          (level * flat[i]! * perCode + 2 * read2 + (2 / 12) * perCode ** 2) / (level * perCode) ** 2 / n;
        chi2 += (seen - flat[i]!) ** 2 / variance;
        healthy++;
      }
      return Math.sqrt(chi2 / healthy);
    }
    // 30 000 pixels: the ratio is known to 0.4 %. Pedestals wander by 0.02 codes a frame, which is nothing here.
    for (const ratio of errors) expect(Math.abs(ratio - 1)).toBeLessThan(0.015);
  });
});

/** The dialect read backwards: from words as sent to the converter's codes. */
function wordsToCodes(spec: { camera: { words: string } }): [number, number][] {
  return Array.from({ length: 4096 }, (_, v) => {
    if (spec.camera.words === "shifted") return [v * 16, v];
    if (spec.camera.words === "repeated") return [v * 16 + (v >> 8), v];
    return [Math.round((v * 65535) / 4095), v];
  });
}
