import { describe, expect, test } from "vitest";
import { ScenePainter } from "../../../sim-devices/scene/painter.ts";
import { wordTable } from "../../../sim-devices/scene/sensor/sensor-words.ts";
import { demoScene } from "../../../sim-devices/scene/spec/demo-scene.ts";
import { ask, lightOn, meanOf, pairVariance, plainScene } from "./plain-scene.ts";

/** K = 0.25 codes per electron, 2 electrons of read noise, pedestal 100. */
const textbook = {
  electronsPerCodeAtGain0: 4,
  fullWellElectrons: 1e6,
  readNoiseElectrons: { beforeGain: 2, afterGain: 0 },
};

describe("the linear detector model (EMVA 1288): mean and variance by light", () => {
  const spec = plainScene({ camera: textbook });
  const painter = new ScenePainter(spec);
  const perSecond = spec.sun.centreElectronsPerSecond * spec.rig.diffuser.transmission;
  test.each([
    [0, 100, 0.3333],
    [10, 102.5, 0.9583],
    [60, 115, 4.0833],
    [500, 225, 31.5833],
    [1000, 350, 62.8333],
    [2000, 600, 125.3333],
    [4000, 1100, 250.3333],
    [8000, 2100, 500.3333],
    [12000, 3100, 750.3333],
  ])("%s electrons", (electrons, mean, variance) => {
    const light = lightOn(spec, { diffuserInPlace: true });
    const exposure = ask(spec, { seconds: electrons / perSecond });
    const a = painter.paint(light, { ...exposure, frameNumber: 10 });
    const b = painter.paint(light, { ...exposure, frameNumber: 11 });
    const n = a.length;
    expect(Math.abs(meanOf(a) - mean)).toBeLessThan(4.5 * Math.sqrt(variance / n));
    // sd of a variance from n pairs: √(2/n) of it; a little more where the counts are few and the steps coarse
    expect(Math.abs(pairVariance(a, b) / variance - 1)).toBeLessThan(
      4.5 * Math.sqrt(2 / n) + (electrons < 20 ? 0.02 : 0),
    );
  });

  test("shot noise keeps its skew where it is drawn as normal: 1/√mean", () => {
    const quiet = plainScene({
      camera: { ...textbook, electronsPerCodeAtGain0: 0.25, bits: 16, readNoiseElectrons: { beforeGain: 0 } },
    });
    const frame = new ScenePainter(quiet).paint(
      lightOn(quiet, { diffuserInPlace: true }),
      ask(quiet, { seconds: 60 / perSecond, offset: 0 }),
    );
    const mean = meanOf(frame);
    let m2 = 0;
    let m3 = 0;
    for (const value of frame) {
      m2 += (value - mean) ** 2;
      m3 += (value - mean) ** 3;
    }
    const skew = m3 / frame.length / (m2 / frame.length) ** 1.5;
    expect(Math.abs(skew - 1 / Math.sqrt(60))).toBeLessThan(4.5 * Math.sqrt(6 / frame.length));
  });
});

describe("gain and offset", () => {
  test("a gain of a tenfold makes one step worth a tenth, and the noise behind the amplifier count for less", () => {
    const spec = plainScene({
      camera: { readNoiseElectrons: { beforeGain: 1.5, afterGain: 6 }, fullWellElectrons: 1e6 },
    });
    const painter = new ScenePainter(spec);
    const dark = lightOn(spec, { coverOpenFraction: 0 });
    for (const [gain, electronsPerCode, readNoise] of [
      [0, 3.6, Math.hypot(1.5, 6)],
      [200, 0.36, Math.hypot(1.5, 0.6)],
    ] as const) {
      const [a, b] = [1, 2].map((frameNumber) => painter.paint(dark, ask(spec, { gain, frameNumber })));
      const noise = Math.sqrt(pairVariance(a!, b!) - 1 / 12) * electronsPerCode;
      expect(Math.abs(noise / readNoise - 1)).toBeLessThan(0.015);
      const lit = lightOn(spec, { diffuserInPlace: true });
      const frame = painter.paint(lit, ask(spec, { gain, seconds: 1000 / 36_000 }));
      expect((meanOf(frame) - 100) * electronsPerCode).toBeCloseTo(1000, -1);
    }
  });

  test("the offset is the pedestal in converter steps; at offset 0 a bias is clipped at code 0", () => {
    const spec = plainScene({ camera: { codesPerOffsetUnit: 3 } });
    const painter = new ScenePainter(spec);
    const dark = lightOn(spec, { coverOpenFraction: 0 });
    expect(meanOf(painter.paint(dark, ask(spec, { offset: 20 })))).toBeCloseTo(60, 1);
    const clipped = painter.paint(dark, ask(spec, { offset: 0 }));
    expect(
      clipped.reduce((zeros, value) => zeros + (value === 0 ? 1 : 0), 0) / clipped.length,
    ).toBeGreaterThan(0.5);
  });
});

describe("dark current", () => {
  const dark = {
    electronsPerSecond: 5,
    atCelsius: 20,
    doublingCelsius: 6,
    unevenness: 0.2,
    glowElectronsPerSecond: 0,
  };
  const spec = plainScene({ camera: { dark } });
  const painter = new ScenePainter(spec);
  const covered = lightOn(spec, { coverOpenFraction: 0 });
  const level = (seconds: number, sensorCelsius: number) =>
    meanOf(painter.paint(covered, ask(spec, { seconds, sensorCelsius }))) - 100;

  test("grows with time and doubles with the stated step of temperature", () => {
    expect(level(60, 20) * 3.6).toBeCloseTo(300, -0.5);
    expect(level(120, 20) / level(60, 20)).toBeCloseTo(2, 1);
    expect(level(60, 26) / level(60, 20)).toBeCloseTo(2, 1);
    expect(level(240, 8) / level(60, 20)).toBeCloseTo(1, 1);
  });

  test("hot and dead pixels are as many as stated, and the truth knows where", () => {
    const bad = plainScene({
      camera: {
        hotPixels: { fraction: 1e-3, electronsPerSecondMin: 1000, electronsPerSecondMax: 2000 },
        deadPixels: { fraction: 5e-4, response: 0 },
      },
    });
    const badPainter = new ScenePainter(bad);
    const { defects, flat } = badPainter.truth();
    const electrons = badPainter.expectedElectrons(
      lightOn(bad, { coverOpenFraction: 0 }),
      ask(bad, { seconds: 1, sensorCelsius: 20 }),
    );
    const counts = [0, 0, 0];
    for (let i = 0; i < defects.length; i++) {
      counts[defects[i]!]!++;
      if (defects[i] === 1) expect(electrons[i]).toBeGreaterThan(999);
      else if (defects[i] === 2) expect(flat[i]).toBe(0);
      else expect(electrons[i]).toBe(0);
    }
    const hot = [...electrons].filter((_, i) => defects[i] === 1).sort((x, y) => x - y);
    expect(hot[0]).toBeLessThan(1050);
    expect(hot.at(-1)).toBeGreaterThan(1900);
    expect(hot.at(-1)).toBeLessThanOrEqual(2000);
    expect(Math.abs(hot[hot.length >> 1]! / Math.sqrt(2e6) - 1)).toBeLessThan(0.1); // even in the logarithm
    expect(Math.abs(counts[1]! - 77)).toBeLessThan(3); // one place may be drawn twice
    expect(Math.abs(counts[2]! - 38)).toBeLessThan(3);
  });
});

describe("clipping", () => {
  test("overexposed, every pixel reads the converter's top code", () => {
    const spec = plainScene({ camera: { fullWellElectrons: 1e6 } });
    const frame = new ScenePainter(spec).paint(
      lightOn(spec, { diffuserInPlace: true }),
      ask(spec, { seconds: 3 }),
    );
    expect(new Set(frame)).toEqual(new Set([4095]));
  });

  test("a well that fills below the top code stops there, with read noise only", () => {
    const spec = plainScene({
      camera: { fullWellElectrons: 9000, readNoiseElectrons: { beforeGain: 4, afterGain: 0 } },
    });
    const painter = new ScenePainter(spec);
    const [a, b] = [1, 2].map((frameNumber) =>
      painter.paint(lightOn(spec, { diffuserInPlace: true }), ask(spec, { seconds: 3, frameNumber })),
    );
    expect(meanOf(a!)).toBeCloseTo(100 + 9000 / 3.6, 1);
    expect(Math.sqrt(pairVariance(a!, b!) - 1 / 12)).toBeCloseTo(4 / 3.6, 1);
  });
});

describe("12 bits in 16-bit words: three dialects", () => {
  const camera = demoScene.camera;
  test.each([
    ["shifted", 16000, 32768, 65520],
    ["repeated", 16003, 32776, 65535],
    ["scaled", 16004, 32776, 65535],
    ["plain", 1000, 2048, 4095],
  ] as const)("%s: codes 1000, 2048 and the top", (words, of1000, of2048, top) => {
    const table = wordTable({ ...camera, words });
    expect([table[0], table[1000], table[2048], table[4095]]).toEqual([0, of1000, of2048, top]);
  });

  test("steps are 16 in the first, 16 and 17 in the others", () => {
    const steps = (words: "shifted" | "repeated" | "scaled") => {
      const table = wordTable({ ...camera, words });
      return new Set(table.slice(1).map((word, i) => word - table[i]!));
    };
    expect(steps("shifted")).toEqual(new Set([16]));
    expect(steps("repeated")).toEqual(new Set([16, 17]));
    expect(steps("scaled")).toEqual(new Set([16, 17]));
  });

  test.each([
    [8, "plain", 255],
    [10, "shifted", 65472],
    [14, "shifted", 65532],
    [14, "repeated", 65535],
    [16, "plain", 65535],
  ] as const)("%s bits %s: top word", (bits, words, top) => {
    expect(wordTable({ ...camera, bits, words }).at(-1)).toBe(top);
  });

  test("a painted frame holds no other words", () => {
    const spec = plainScene({ camera: { words: "shifted" } });
    const frame = new ScenePainter(spec).paint(lightOn(spec), ask(spec));
    expect(frame.every((word) => word % 16 === 0)).toBe(true);
    expect(new Set(frame).size).toBeGreaterThan(500);
  });
});

describe("binning and region", () => {
  const dust = [{ xPx: 100, yPx: 80, distanceMm: 1, speckMicron: 60, on: "camera" as const }];
  const spec = plainScene({ rig: { dust }, camera: { pixelResponseSd: 0.02 } });
  const painter = new ScenePainter(spec);
  const region = { xPx: 37, yPx: 21, widthPx: 120, heightPx: 90 };

  test("a region is cut from the sensor: the same Sun, dust and pixels as in the whole frame", () => {
    for (const diffuserInPlace of [false, true]) {
      const light = lightOn(spec, { diffuserInPlace, sunEastArcsec: 77 });
      const whole = painter.expectedElectrons(light, ask(spec));
      const part = painter.expectedElectrons(light, ask(spec, { region }));
      for (let y = 0; y < 90; y++) {
        for (let x = 0; x < 120; x++) {
          expect(Math.abs(part[y * 120 + x]! - whole[(y + 21) * 320 + x + 37]!)).toBeLessThan(0.2);
        }
      }
    }
  });

  test("a region beyond the sensor is refused", () => {
    expect(() => painter.paint(lightOn(spec), ask(spec, { region: { ...region, xPx: 201 } }))).toThrow(
      RangeError,
    );
  });

  test.each([
    ["average", 100 + 1000 / 3.6, 0.25],
    ["sum", 4 * (100 + 1000 / 3.6), 4],
  ] as const)("2 by 2 bins %s", (binningMode, level, varianceFactor) => {
    const even = plainScene({ camera: { binningMode } });
    const evenPainter = new ScenePainter(even);
    const light = lightOn(even, { diffuserInPlace: true });
    const shot = (binning: number, frameNumber: number) =>
      evenPainter.paint(
        light,
        ask(even, { binning, frameNumber, seconds: 1000 / 36_000, region: { ...region, widthPx: 121 } }),
      );
    const [a, b] = [shot(2, 1), shot(2, 2)];
    expect(a.length).toBe(60 * 45);
    expect(Math.abs(meanOf(a) - level)).toBeLessThan(1);
    const variance = varianceFactor * (1000 / 3.6 ** 2 + (1.3 ** 2 + 2.4 ** 2) / 3.6 ** 2 + 1 / 12);
    expect(Math.abs(pairVariance(a, b) / variance - 1)).toBeLessThan(0.13);
  });

  test("sums clip at the top code", () => {
    const even = plainScene({ camera: { binningMode: "sum" } });
    const frame = new ScenePainter(even).paint(
      lightOn(even, { diffuserInPlace: true }),
      ask(even, { binning: 2, seconds: 0.35 }),
    );
    expect(new Set(frame)).toEqual(new Set([4095]));
  });
});

test("the truth states pedestal, gain and noise in the words that are sent", () => {
  const spec = plainScene({
    camera: { words: "shifted", electronsPerCodeAtGain0: 4, codesPerOffsetUnit: 2 },
  });
  const painter = new ScenePainter(spec);
  const truth = painter.truth({ gain: 0, offset: 50 });
  const frames = [1, 2].map((frameNumber) =>
    painter.paint(
      lightOn(spec, { diffuserInPlace: true }),
      ask(spec, { seconds: 0.1, offset: 50, frameNumber }),
    ),
  );
  const signal = meanOf(frames[0]!) - truth.pedestalAdu;
  expect(signal).toBeCloseTo(0.1 * truth.flatAduPerSecond, -1);
  const shot =
    pairVariance(frames[0]!, frames[1]!) -
    (truth.readNoiseElectrons / truth.electronsPerAdu) ** 2 -
    16 ** 2 / 12;
  expect(Math.abs((signal / shot) * (1 / truth.electronsPerAdu) - 1)).toBeLessThan(0.02);
});

test("noise is a function of seed and frame number: same again, and unlike any other", () => {
  const spec = plainScene({ camera: { pedestalWanderCodes: 0.3 } });
  const light = lightOn(spec);
  const one = new ScenePainter(spec);
  const first = one.paint(light, ask(spec, { frameNumber: 5 }));
  const other = one.paint(light, ask(spec, { frameNumber: 6 }));
  const again = one.paint(light, ask(spec, { frameNumber: 5 }));
  expect(again).toEqual(first);
  expect(new ScenePainter(spec).paint(light, ask(spec, { frameNumber: 5 }))).toEqual(first);
  expect(other).not.toEqual(first);
  expect(new ScenePainter({ ...spec, seed: 8 }).paint(light, ask(spec, { frameNumber: 5 }))).not.toEqual(
    first,
  );
});

test("the pedestal wanders from frame to frame by the stated amount", () => {
  const spec = plainScene({ camera: { pedestalWanderCodes: 0.5 } });
  const painter = new ScenePainter(spec);
  const region = { xPx: 0, yPx: 0, widthPx: 320, heightPx: 20 };
  const covered = lightOn(spec, { coverOpenFraction: 0 });
  const levels = Array.from({ length: 300 }, (_, frameNumber) =>
    meanOf(painter.paint(covered, ask(spec, { frameNumber, region }))),
  );
  const mean = meanOf(levels);
  const sd = Math.sqrt(levels.reduce((sum, level) => sum + (level - mean) ** 2, 0) / 299);
  expect(Math.abs(sd / 0.5 - 1)).toBeLessThan(0.2);
});
